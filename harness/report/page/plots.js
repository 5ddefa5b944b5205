"use strict";
// Zoomable pictures: panels of lines over the same samples, and lanes of stages between them.
const plots = (() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const dashes = { request: [6, 3], hot: [6, 3], charger: [6, 3], own: [2, 3], clock1: [7, 3], clock2: [2, 3], clock3: [7, 3, 2, 3], clock4: [1, 2] };
  const kindOf = (kind) => (/^clock[5-8]$/.test(kind) ? "clock4" : kind);
  const FONT = "11px system-ui, sans-serif";
  const SIDE = 64;
  const LANE = 22;

  function element(kind, attributes = {}, ...inside) {
    const made = document.createElement(kind);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...inside);
    return made;
  }

  function short(value) {
    return value === null || value === undefined ? "-" : String(Number(value.toPrecision(9)));
  }

  // With as many decimals as it takes to tell one tick from the next.
  function figures(plot, splits, axis, space, step) {
    let decimals = 0;
    while (decimals < 9 && Math.abs(step * 10 ** decimals - Math.round(step * 10 ** decimals)) > 1e-6) decimals++;
    return splits.map((value) => (value === null ? "" : value.toFixed(decimals)));
  }

  // What a kind of picture has of its own: parts(), lanes(), lines(), at, reading(k), near(), and
  // where it needs them shift(level), across(), drawn(plot, panel), on_lanes(plot, top).
  class Picture {
    constructor(place, key, x) {
      this.place = place;
      this.x = x;
      this.plots = [];
      this.key = key;
      const step = (x[x.length - 1] - x[0]) / Math.max(x.length - 1, 1) || 1;
      this.whole = [x[0] - step / 2, x[x.length - 1] + step];
    }

    begin(near) {
      this.box = element("div", { class: "plots", tabindex: "0", role: "group",
        "aria-label": "Zoomable picture. Left and Right read samples, plus and minus zoom, 0 shows all." });
      this.readout = element("p", { class: "readout", "aria-live": "polite" });
      this.place.append(this.tools(near), this.box, this.readout);
      this.draw();
      this.show(...this.whole);
      this.place.classList.add("drawn");
      this.read(this.at);
      this.box.addEventListener("keydown", (event) => this.key_down(event));
      let width = this.box.clientWidth;
      new ResizeObserver(() => {
        if (this.box.clientWidth === width || !this.box.clientWidth) return;
        width = this.box.clientWidth;
        for (const plot of this.plots) plot.setSize({ width, height: plot.height });
      }).observe(this.box);
    }

    shift() { return null; }
    across() { return {}; }
    drawn() {}
    on_lanes() {}

    tools(near) {
      const row = element("div", { class: "tools" });
      const add = (text, act) => {
        const button = element("button", { type: "button" }, text);
        button.addEventListener("click", act);
        row.append(button);
      };
      add("Zoom in", () => this.zoom(0.5));
      add("Zoom out", () => this.zoom(2));
      add("Earlier", () => this.move(-0.4));
      add("Later", () => this.move(0.4));
      add(near, () => this.near());
      add("All", () => this.show(...this.whole));
      return row;
    }

    draw() {
      this.parts().forEach((panel, place) => {
        const title = element("h4", {}, panel.title + (panel.unit ? ", " + panel.unit : ""));
        if (panel.lines.length > 1 || panel.keyed) {
          for (const line of panel.lines) {
            const key = element("i");
            key.style.borderTopColor = "var(--" + kindOf(line.kind) + ")";
            key.style.borderTopStyle = dashes[kindOf(line.kind)] ? "dashed" : "solid";
            title.append(element("span", {}, key, line.name));
          }
        }
        this.box.append(title);
        this.plots.push(this.panel(panel, place === 0 ? 210 : this.low_panel || 100));
        if (place === 1) {
          const lanes = this.lanes();
          if (!lanes.length) return;
          this.box.append(element("h4", {}, data.state || "stage"));
          this.plots.push(this.of_stages(lanes));
        }
      });
    }

    options(height, more) {
      const soft = () => colour("soft");
      const grid = { stroke: () => colour("band"), width: 1 };
      return {
        width: Math.max(this.box.clientWidth, 200), height, legend: { show: false }, ...more,
        cursor: { drag: { x: true, y: false }, sync: { key: this.key, scales: ["x", null] }, points: { show: false },
          dataIdx: (plot, series, k) => k },
        scales: { x: { time: false, range: (plot, low, high) => (plot.wanted = low === null ? this.whole : [low, high]) }, ...more.scales },
        axes: [
          { stroke: soft, grid, ticks: grid, font: FONT, size: 28, label: undefined, ...this.across() },
          { stroke: soft, grid, ticks: grid, font: FONT, size: SIDE, space: 24, values: figures, ...more.side },
        ],
        hooks: { ...more.hooks, setCursor: [(plot) => { if (plot.cursor.idx != null && plot.cursor.event) this.read(plot.cursor.idx); }] },
      };
    }

    panel(panel, height) {
      const series = [{}];
      const columns = [this.x];
      for (const level of panel.levels) {
        series.push({ auto: false, stroke: () => colour("level"), width: 1, dash: [5, 3], points: { show: false } });
        const by = this.shift(level);
        columns.push(this.x.map((_, k) => (by && by[k] !== null ? level.at + by[k] : level.at)));
      }
      for (const line of panel.lines) {
        const kind = kindOf(line.kind);
        series.push({ stroke: () => colour(kind), width: 2, dash: dashes[kind], points: { show: (plot) => plot.scales.x.max - plot.scales.x.min < this.span() / 3, size: 5 },
          paths: line.stepped ? uPlot.paths.stepped({ align: 1 }) : undefined });
        columns.push(line.values);
      }
      const range = (plot, low, high) => {
        if (low === null || low < panel.low || high > panel.high) return [panel.low, panel.high];
        const room = Math.max(0.15 * (high - low), (panel.least * (high - low || panel.least)) / 4 / panel.least);
        // While y is fitted the scale of x is still the one before.
        const [from, to] = plot.wanted || this.whole;
        const all = from <= this.whole[0] && to >= this.whole[1];
        return all ? [panel.low, panel.high] : [low - room, high + room];
      };
      const draw = (plot) => {
        this.names(plot, panel);
        this.marks(plot);
        this.clipped(plot, () => this.drawn(plot, panel));
      };
      return new uPlot(this.options(height, { series, scales: { y: { range } }, hooks: { draw: [draw] } }), columns, this.box);
    }

    span() {
      return this.whole[1] - this.whole[0];
    }

    names(plot, panel) {
      const { ctx, bbox } = plot;
      const ratio = devicePixelRatio;
      ctx.save();
      ctx.font = 11 * ratio + "px system-ui, sans-serif";
      ctx.textAlign = "right";
      const right = bbox.left + bbox.width - 3 * ratio;
      const groups = [];
      for (const level of [...panel.levels].sort((a, b) => b.at - a.at)) {
        const by = this.shift(level);
        const y = plot.valToPos(level.at + ((by && by[by.length - 1]) || 0), "y", true);
        if (y < bbox.top || y > bbox.top + bbox.height) continue;
        const text = level.name + (level.name === "due" ? "" : " " + short(level.at));
        const latest = groups[groups.length - 1];
        if (!latest || y - latest.y >= 12 * ratio) groups.push({ y, text });
        else if (ctx.measureText(latest.text + ", " + text).width < bbox.width * 0.9) latest.text += ", " + text;
      }
      for (const { y, text } of groups) this.label(ctx, text, right, y - 4 * ratio);
      ctx.restore();
    }

    // Words on a ground of their own, so that lines behind them do not cross them out.
    label(ctx, text, x, y, name = "text") {
      const ratio = devicePixelRatio;
      ctx.font = (name === "text" ? "" : "bold ") + 11 * ratio + "px system-ui, sans-serif";
      const wide = ctx.measureText(text).width;
      const left = { right: x - wide, center: x - wide / 2 }[ctx.textAlign] ?? x;
      ctx.fillStyle = colour("back");
      ctx.globalAlpha = 0.8;
      ctx.fillRect(left - 2, y - 9 * ratio, wide + 4, 11 * ratio);
      ctx.globalAlpha = 1;
      ctx.fillStyle = colour(name);
      ctx.fillText(text, x, y);
    }

    clipped(plot, draw) {
      const { ctx, bbox } = plot;
      ctx.save();
      ctx.beginPath();
      ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
      ctx.clip();
      draw();
      ctx.restore();
    }

    marks(plot) {
      const { ctx, bbox } = plot;
      this.clipped(plot, () => {
        for (const [at, name, dash] of this.lines()) {
          const x = plot.valToPos(at, "x", true);
          ctx.strokeStyle = colour(name);
          ctx.lineWidth = 1.5 * devicePixelRatio;
          ctx.setLineDash(dash);
          ctx.beginPath();
          ctx.moveTo(x, bbox.top);
          ctx.lineTo(x, bbox.top + bbox.height);
          ctx.stroke();
        }
      });
    }

    // Each lane is a name, where each stage begins and its word, and what is said where there are none.
    of_stages(lanes) {
      const draw = (plot) => {
        const { ctx, bbox } = plot;
        const ratio = devicePixelRatio;
        ctx.save();
        ctx.font = 11 * ratio + "px system-ui, sans-serif";
        lanes.forEach(([name, changes, none], place) => {
          const top = bbox.top + place * LANE * ratio;
          ctx.fillStyle = colour("soft");
          ctx.textAlign = "right";
          ctx.fillText(name, bbox.left - 5 * ratio, top + 14 * ratio);
          ctx.save();
          ctx.beginPath();
          ctx.rect(bbox.left, top, bbox.width, (LANE - 2) * ratio);
          ctx.clip();
          ctx.textAlign = "left";
          if (!changes) ctx.fillText(none, bbox.left + 4 * ratio, top + 14 * ratio);
          (changes || []).forEach(([from, word], number) => {
            const behind = number + 1 < changes.length ? changes[number + 1][0] : this.whole[1];
            const a = plot.valToPos(from, "x", true);
            const b = plot.valToPos(behind, "x", true);
            if (b < bbox.left || a > bbox.left + bbox.width) return;
            ctx.fillStyle = colour(word);
            ctx.fillRect(a, top, b - a, (LANE - 2) * ratio);
            ctx.strokeStyle = colour("line");
            ctx.strokeRect(a, top, b - a, (LANE - 2) * ratio);
            const start = Math.max(a, bbox.left) + 4 * ratio;
            if (start + ctx.measureText(word).width < Math.min(b, bbox.left + bbox.width)) {
              ctx.fillStyle = colour("on-" + word);
              ctx.fillText(word, start, top + 14 * ratio);
            }
          });
          ctx.restore();
        });
        ctx.restore();
        this.on_lanes(plot, (place) => bbox.top + place * LANE * ratio);
        this.marks(plot);
      };
      const none = () => [];
      const high = lanes.length * LANE + (this.more_lanes || 0) * LANE + (this.foot || 38);
      const options = this.options(high, { series: [{}, { points: { show: false } }], scales: { y: { range: [0, 1] } },
        side: { splits: none, values: none }, hooks: { draw: [draw] } });
      return new uPlot(options, [this.x, this.x.map(() => null)], this.box);
    }

    show(low, high) {
      const least = this.span() / 2000;
      if (high - low < least) return;
      const width = Math.min(high - low, this.span());
      const from = Math.min(Math.max(low, this.whole[0]), this.whole[1] - width);
      for (const plot of this.plots) plot.setScale("x", { min: from, max: from + width });
    }

    zoom(by) {
      const { min, max } = this.plots[0].scales.x;
      const here = this.x[this.shown ?? this.at];
      const middle = here >= min && here <= max ? here : (min + max) / 2;
      this.show(middle - (middle - min) * by, middle + (max - middle) * by);
    }

    move(by) {
      const { min, max } = this.plots[0].scales.x;
      this.show(min + by * (max - min), max + by * (max - min));
    }

    read(k) {
      this.shown = k;
      this.readout.textContent = this.reading(k);
    }

    key_down(event) {
      const steps = { ArrowLeft: -1, ArrowRight: 1 };
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      if (event.key in steps) {
        const k = Math.min(Math.max((this.shown ?? this.at) + steps[event.key], 0), this.x.length - 1);
        const left = this.plots[0].valToPos(this.x[k], "x");
        for (const plot of this.plots) plot.setCursor({ left, top: 5 }, false);
        this.read(k);
      } else if (event.key === "+") this.zoom(0.5);
      else if (event.key === "-") this.zoom(2);
      else if (event.key === "0") this.show(...this.whole);
      else return;
      event.preventDefault();
    }
  }

  const pictures = new Map();
  function once(place, make) {
    if (place && place.clientWidth && !pictures.has(place)) pictures.set(place, make(place));
  }

  // Calls `draw` for each of these as it comes near the window.
  function when_near(elements, draw) {
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) if (entry.isIntersecting) draw(entry.target);
    }, { rootMargin: "400px" });
    for (const each of elements) seen.observe(each);
  }

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    for (const picture of pictures.values()) for (const plot of picture.plots) plot.redraw(false, true);
  });

  return { data, colour, short, Picture, once, when_near, LANE };
})();
