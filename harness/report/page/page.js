"use strict";
(() => {
  const { data, colour, short, Picture, once, when_near, LANE } = plots;
  for (const { x, columns, clocks } of data.excerpts) {
    for (const clock of clocks) {
      clock.share = clock.shows.map((shows) => (shows === null ? null : clock.asked > 0 ? shows / clock.asked : 1));
    }
    for (const [name, values] of Object.entries(columns)) {
      if (!Array.isArray(values)) columns[name] = x.map(() => values);
    }
  }

  function stageAt(changes, k) {
    if (!changes) return "no answer";
    let word = "";
    for (const [from, each] of changes) if (from <= k) word = each;
    return word;
  }

  class OfFinding extends Picture {
    constructor(place) {
      const finding = data.findings[Number(place.dataset.finding)];
      const excerpt = data.excerpts[finding.excerpt];
      super(place, "finding-" + place.dataset.finding, excerpt.x);
      this.finding = finding;
      this.excerpt = excerpt;
      this.at = finding.at;
      this.begin("Finding");
    }

    parts() {
      const values = (line) => (line.clock === undefined ? this.excerpt.columns[line.column] : this.excerpt.clocks[line.clock].share);
      return this.finding.panels.map((panel) => ({ ...panel, keyed: panel.lines[0].clock !== undefined,
        lines: panel.lines.map((line) => ({ ...line, values: values(line) })) }));
    }

    shift(level) {
      return (level.shifted && this.excerpt.columns.shift_v) || null;
    }

    lines() {
      return [...[...this.excerpt.cycles, ...this.excerpt.requests].map((k) => [this.x[k], "soft", [4, 4]]), [this.x[this.at], "here", []]];
    }

    lanes() {
      const placed = (changes) => changes && changes.map(([k, word]) => [this.x[k], word]);
      return [[data.role, placed(this.excerpt.stages), "no answer"], ["reference", placed(this.excerpt.reference), "not asked"]];
    }

    on_lanes(plot) {
      const { ctx, bbox } = plot;
      const ratio = devicePixelRatio;
      ctx.fillStyle = colour("text");
      for (const k of this.excerpt.resets) {
        ctx.beginPath();
        ctx.arc(plot.valToPos(this.x[k], "x", true), bbox.top + (LANE - 1) * ratio, 4 * ratio, 0, 7);
        ctx.fill();
      }
    }

    near() {
      const first = Math.max(this.at - 6, 0);
      const last = Math.min(this.at + 6, this.x.length - 1);
      const room = (this.x[last] - this.x[first]) * 0.05 || 1;
      this.show(this.x[first] - room, this.x[last] + room);
      this.read(this.at);
    }

    reading(k) {
      const said = [this.excerpt.axis === "sample" ? "sample " + this.x[k] + ", t " + short(this.excerpt.columns.t[k]) + " s" : "t " + short(this.x[k]) + " s"];
      for (const [name, values] of Object.entries(this.excerpt.columns)) {
        if (name !== "t" && name !== "shift_v") said.push(name + " " + short(values[k]));
      }
      said.push(data.role + " " + stageAt(this.excerpt.stages, k));
      if (this.excerpt.reference) said.push("reference " + stageAt(this.excerpt.reference, k));
      for (const clock of this.excerpt.clocks) {
        if (clock.shows[k] !== null) said.push(clock.name + " " + short(clock.shows[k]) + " of " + short(clock.asked) + " s");
      }
      return (k === this.at ? "The finding: " : "") + said.join(", ");
    }
  }

  function drawIn(details) {
    if (details.open) once(details.querySelector(":scope > .picture[data-finding]"), (place) => new OfFinding(place));
  }
  const found = document.querySelectorAll(".finding");
  when_near(found, drawIn);
  for (const details of found) details.addEventListener("toggle", () => drawIn(details));

  // The filter, and the way through what it shows by keyboard.
  const form = document.querySelector(".filter");
  const words = document.getElementById("words");
  const boxes = [...form.querySelectorAll("input[name=outcome]")];
  const rows = [...document.querySelectorAll("#table .row")];
  const parts = [...document.querySelectorAll(".requirement")];
  const status = document.getElementById("shown");
  function filter() {
    const wanted = words.value.trim().toLowerCase().split(/\s+/);
    const kept = new Set(boxes.filter((box) => box.checked).map((box) => box.value));
    const fits = (each) => kept.has(each.dataset.outcome) && wanted.every((word) => each.dataset.words.includes(word));
    for (const each of [...rows, ...parts]) each.hidden = !fits(each);
    for (const body of document.querySelectorAll("#table tbody")) body.hidden = !body.querySelector(".row:not([hidden])");
    const shown = rows.filter((row) => !row.hidden).length;
    status.textContent = shown + " of " + rows.length + " requirements are shown.";
  }
  const links = () => rows.filter((row) => !row.hidden).map((row) => row.querySelector(".to")).filter(Boolean);
  function open(link) {
    const part = document.querySelector(CSS.escape ? "#" + CSS.escape(link.hash.slice(1)) : link.hash);
    const details = part && part.querySelector(".finding");
    if (!details) return;
    part.hidden = false;
    details.open = true;
    details.querySelector("summary").focus();
    part.scrollIntoView();
  }
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", filter);
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.to, .broken a");
    if (link) { event.preventDefault(); open(link); }
  });
  document.addEventListener("keydown", (event) => {
    const down = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const at = event.target;
    if (at === words && event.key === "Enter") { const [first] = links(); if (first) open(first); return; }
    if (!down || event.altKey || event.ctrlKey) return;
    let among = null;
    if (at === words || at.matches(".to")) among = [words, ...links()];
    else if (at.matches(".finding > summary")) among = [...document.querySelectorAll(".requirement:not([hidden]) .finding > summary")];
    if (!among) return;
    const next = among[among.indexOf(at) + down];
    if (next) { event.preventDefault(); next.focus(); }
  });
  form.hidden = false;
  filter();
})();
