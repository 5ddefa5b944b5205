(() => {
  const { data, colour, short, Picture, once, when_near, LANE } = plots;
  const DAY = 86400;
  const STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, DAY,
    ...[2, 5, 10, 20, 50, 100, 200, 500].map((days) => days * DAY)];
  const two = (number) => String(number).padStart(2, "0");

  // The time that a position stands for: a date where the log has dates, else hours of the log.
  function clock(seconds, fine) {
    if (data.midnight_ms !== null) {
      const text = new Date(data.midnight_ms + Math.round(seconds * 1000)).toISOString();
      return { day: text.slice(0, 10), time: text.slice(11, fine ? 19 : 16) };
    }
    const whole = Math.round(Math.abs(seconds));
    const time = (seconds < -0.5 ? "-" : "") + Math.floor(whole / 3600) + ":" + two(Math.floor(whole / 60) % 60);
    return { day: "", time: fine ? time + ":" + two(whole % 60) : time };
  }

  class OfLog extends Picture {
    constructor(place) {
      const drawing = data.drawings[Number(place.dataset.drawing)];
      super(place, "drawing-" + place.dataset.drawing, drawing.x);
      this.drawing = drawing;
      this.at = drawing.at;
      this.more_lanes = 1;
      // A second line of the axis has the date.
      this.low_panel = data.midnight_ms === null ? 120 : 134;
      this.foot = data.midnight_ms === null ? 38 : 52;
      this.begin("The moment");
      if (drawing.near) this.show(...drawing.near);
    }

    // Seconds of the clock at a position: behind a clock that was set back it shows less.
    seconds(x) {
      let behind = 0;
      for (const [from, total] of this.drawing.steps) if (from <= x) behind = total;
      return x - behind;
    }

    across() {
      const values = (plot, splits, axis, space, step) => {
        let day = "";
        return splits.map((x) => {
          if (x === null) return "";
          const at = clock(this.seconds(x), step < 60);
          const told = at.day && at.day !== day ? at.time + "\n" + at.day : at.time;
          day = at.day;
          return told;
        });
      };
      return { values, incrs: STEPS, space: 80, size: data.midnight_ms === null ? 28 : 42 };
    }

    parts() {
      return this.drawing.panels.map((panel) => ({ ...panel, keyed: false }));
    }

    lines() {
      const dashes = { here: [], other: [6, 4] };
      return this.drawing.moments.map(([x, kind]) => [x, kind, dashes[kind] ?? [3, 4]]);
    }

    lanes() {
      return this.drawing.lanes.map(({ name, changes }) => [name, changes, "not in the log"]);
    }

    on_lanes(plot, top) {
      const { ctx, bbox } = plot;
      const ratio = devicePixelRatio;
      ctx.save();
      ctx.font = 11 * ratio + "px system-ui, sans-serif";
      ctx.fillStyle = colour("soft");
      ctx.textAlign = "right";
      ctx.fillText("events", bbox.left - 5 * ratio, top(this.drawing.lanes.length) + 14 * ratio);
      ctx.restore();
      this.clipped(plot, () => {
        ctx.lineWidth = 1.5 * ratio;
        for (const [at, lane, kind] of this.drawing.symbols) {
          const x = plot.valToPos(at, "x", true);
          if (x < bbox.left - 9 || x > bbox.left + bbox.width + 9) continue;
          this.sign(ctx, kind, x, top(lane) + ((LANE - 2) / 2) * ratio, 4.5 * ratio);
        }
      });
    }

    sign(ctx, kind, x, y, size) {
      ctx.strokeStyle = ctx.fillStyle = colour("text");
      ctx.beginPath();
      if (kind === "full_reset") ctx.arc(x, y, size, 0, 7);
      else if (kind === "hold_started") { ctx.moveTo(x - size, y - size); ctx.lineTo(x + size, y); ctx.lineTo(x - size, y + size); ctx.closePath(); }
      else if (kind === "hold_abandoned") {
        ctx.moveTo(x - size, y - size); ctx.lineTo(x + size, y + size); ctx.moveTo(x + size, y - size); ctx.lineTo(x - size, y + size);
      } else ctx.rect(x - size, y - size, 2 * size, 2 * size);
      if (kind === "full_reset" || kind === "hold_started") {
        ctx.fill();
        ctx.strokeStyle = colour("back");
        ctx.lineWidth = devicePixelRatio;
      } else ctx.lineWidth = 1.8 * devicePixelRatio;
      ctx.stroke();
    }

    drawn(plot, panel) {
      const place = this.drawing.panels.findIndex((each) => each.title === panel.title);
      const { ctx, bbox } = plot;
      const ratio = devicePixelRatio;
      const at = (x) => plot.valToPos(x, "x", true);
      const high = (y) => plot.valToPos(y, "y", true);
      const stroke = (name, width, ...points) => {
        ctx.strokeStyle = colour(name);
        ctx.lineWidth = width * ratio;
        ctx.setLineDash([]);
        ctx.beginPath();
        points.forEach(([x, y], k) => (k % 2 ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
        ctx.stroke();
      };
      if (place === 0) this.words(plot);
      for (const [of, y, start, held, due, words, above] of this.drawing.bars) {
        if (of !== place) continue;
        const [a, b, c, level] = [at(start), at(held), at(due), high(y)];
        stroke("needed", 1.2, [a, level], [c, level], [a, level - 6 * ratio], [a, level + 6 * ratio], [c, level - 6 * ratio], [c, level + 6 * ratio]);
        ctx.globalAlpha = 0.75;
        stroke("held", 5, [a, level], [b, level]);
        ctx.globalAlpha = 1;
        if (c < bbox.left || a > bbox.left + bbox.width) continue;
        ctx.font = 11 * ratio + "px system-ui, sans-serif";
        const from = Math.max(a, bbox.left + 4 * ratio);
        // At the right stand the names of the levels.
        const crowded = from + ctx.measureText(words).width > bbox.left + bbox.width - 100 * ratio;
        ctx.textAlign = crowded ? "right" : "left";
        this.label(ctx, words, crowded ? Math.min(a - 6 * ratio, bbox.left + bbox.width - 110 * ratio) : from, level + (above ? -10 : 18) * ratio);
      }
      for (const [of, where, read, asked, words] of this.drawing.measures) {
        if (of !== place) continue;
        const [x, from, to] = [at(where), high(read), high(asked)];
        if (x < bbox.left || x > bbox.left + bbox.width) continue;
        const end = 5 * ratio;
        stroke("here", 1.8, [x, from], [x, to], [x - end, from], [x + end, from], [x - end, to], [x + end, to]);
        const right = x > bbox.left + bbox.width * 0.7;
        ctx.textAlign = right ? "right" : "left";
        this.label(ctx, words, x + (right ? -9 : 9) * ratio, Math.max((from + to) / 2, bbox.top + 12 * ratio) + 4 * ratio, "here");
      }
    }

    // What is written beside lines, where there is room for it.
    words(plot) {
      const { ctx, bbox } = plot;
      const ratio = devicePixelRatio;
      let latest = -Infinity;
      for (const [where, , words] of this.drawing.moments) {
        const x = plot.valToPos(where, "x", true);
        if (!words || x < bbox.left || x > bbox.left + bbox.width || x - latest < 110 * ratio) continue;
        latest = x;
        const right = x > bbox.left + bbox.width * 0.7;
        ctx.textAlign = right ? "right" : "left";
        this.label(ctx, words, x + (right ? -4 : 4) * ratio, bbox.top + bbox.height - 6 * ratio);
      }
    }

    near() {
      const { x, drawing } = this;
      const step = this.span() / Math.max(x.length - 1, 1);
      const room = drawing.near ? null : Math.max(this.span() / 60, 20 * step);
      this.show(...(drawing.near || [x[this.at] - room, x[this.at] + room]));
      this.read(this.at);
    }

    reading(k) {
      const x = this.x[k];
      const at = clock(this.seconds(x), true);
      const said = [at.day ? at.day + " " + at.time : at.time + " h of the log"];
      const values = this.drawing.panels.flatMap((panel) => panel.lines.map((line) => [line, panel.unit]));
      if (values.every(([line]) => line.values[k] === null)) said.push("no sample");
      else for (const [line, unit] of values) if (line.values[k] !== null) said.push(line.name + " " + short(line.values[k]) + (unit ? " " + unit : ""));
      for (const { name, changes } of this.drawing.lanes) {
        if (!changes) continue;
        let stage = "";
        for (const [from, word] of changes) if (from <= x + 0.0005) stage = word;
        said.push(name + " " + stage);
      }
      return (k === this.at ? "The moment: " : "") + said.join(", ");
    }
  }

  when_near(document.querySelectorAll(".picture[data-drawing]"), (place) => once(place, (where) => new OfLog(where)));
  // A link to a pack takes the focus there, so that Tab goes on from it.
  for (const link of document.querySelectorAll("nav a, .skip")) {
    link.addEventListener("click", () => document.querySelector(link.hash).focus());
  }
})();
