// What a click, a drag or a key does. Whatever changes the show becomes one act; until then it is a sketch.
import { apart, element, outline, pairs } from "./scene.js";

const $ = (id) => document.getElementById(id);
const SLACK = 1.1;                     // the wire of a feed is so much longer than the straight way
const PITCH = 0.1;                     // metres from pixel to pixel, where the kind of pixel does not say
const FINE = 0.01, COARSE = 0.1;       // metres that an arrow key moves
const HINTS = {
  look: "", points: "Click each pixel in the order of the data. Enter: done. Esc: leave it.",
  line: "Click each corner, beginning where the data enters. Enter or a double click: done. Esc: leave it.",
  loop: "Click each corner in turn; the first one again, or Enter: done. Esc: leave it.",
  arch: "Click the foot where the data enters, the other foot, then the height.",
  grid: "Click the corner where the data enters, then the one across.",
  box: "Click where the box stands.", lead: "Drag from a box, or from a run, to the run that hangs on it.",
  feed: "Drag from a box with a supply to the pixel that its feed joins.",
  route: "Click each corner of a way along which cables are run: eaves, a fence, a wall. Enter or a double click: done. Esc: leave it.",
  span: "Click two points of the photograph whose distance you know.",
  wall: "Click the four corners of an upright wall whose size you know: bottom left, bottom right, top right, top left.",
};
const round = (value) => Math.round(value * 1000) / 1000;
const rounded = (place) => place.map(round);

export function lengthOf(points, closed = false) {
  const every = closed ? [...points, points[0]] : points;
  return every.slice(1).reduce((sum, place, at) => sum + apart(place, every[at]), 0);
}

export class Tools {
  constructor(page) {
    this.page = page;
    this.scene = page.scene;
    this.tool = "look";
    this.points = [];
    this.drag = null;
    this.touches = new Map();
    for (const key of document.querySelectorAll("[data-tool]")) key.onclick = () => this.take(key.dataset.tool);
    const svg = this.scene.svg;
    svg.addEventListener("pointerdown", (event) => this.down(event));
    svg.addEventListener("pointermove", (event) => this.move(event));
    svg.addEventListener("pointerup", (event) => this.up(event));
    svg.addEventListener("pointercancel", () => this.leave());
    svg.addEventListener("dblclick", () => this.done());
    svg.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.scene.zoom(Math.exp(event.deltaY * 0.0015), this.scene.metres(event));
    }, { passive: false });
    svg.addEventListener("keydown", (event) => this.key(event));
    this.take("look");
  }

  take(tool) {
    const left = this.points.length > 0 && tool !== this.tool;
    this.leave();
    this.tool = tool;
    for (const key of document.querySelectorAll("[data-tool]")) key.setAttribute("aria-pressed", String(key.dataset.tool === tool));
    this.scene.svg.classList.toggle("look", tool === "look");
    $("hint").textContent = left ? `What was begun is left. ${HINTS[tool]}` : HINTS[tool];
  }

  leave() {
    this.points = [];
    this.drag = null;
    this.scene.sketch();
    $("hint").textContent = HINTS[this.tool];
  }

  // ── the pointer ──

  place(event, but = "") {
    let place = this.scene.metres(event);
    const last = this.points.at(-1);
    if (event.shiftKey && last)
      place = Math.abs(place[0] - last[0]) > Math.abs(place[1] - last[1]) ? [place[0], last[1]] : [last[0], place[1]];
    else if (!event.altKey) place = this.scene.snapped(place, but);
    return rounded(place);
  }

  down(event) {
    if (event.button > 1) return;
    this.touches.set(event.pointerId, event);
    this.scene.svg.setPointerCapture(event.pointerId);
    if (this.touches.size === 2) { this.leave(); this.pinch = this.spread(); return; }
    const handle = event.shiftKey ? "" : event.target.dataset?.handle;
    if (handle && this.tool === "look") {
      const [kind, at] = handle.split(":");
      this.drag = { kind, at: Number(at), begun: this.scene.metres(event), moved: false };
    } else if (event.button === 1) this.drag = { kind: "pan", last: event };
    else if (this.tool === "look") this.grasp(event);
    else if (this.tool === "lead" || this.tool === "feed") this.drag = { kind: this.tool, from: this.source(event) };
  }

  // A press on a thing chooses it, and drags it; on nothing it drags the view.
  grasp(event) {
    const name = event.target.closest?.("[data-run]")?.dataset.run ?? event.target.dataset?.box ?? event.target.closest?.("[data-route]")?.dataset.route;
    if (!name) { this.drag = { kind: "pan", last: event, moved: false, from: [event.clientX, event.clientY] }; return; }
    if (event.shiftKey) { this.page.gather(name); return; }
    const prop = Object.entries(this.page.view.props).find(([, own]) => own.runs.includes(name))?.[0];
    const whole = this.page.chosen === prop;
    if (this.page.chosen !== name && !whole) this.page.choose(name);
    this.drag = { kind: "shift", things: [this.page.chosen], begun: this.scene.metres(event), moved: false, from: [event.clientX, event.clientY] };
  }

  source(event) {
    const place = this.scene.metres(event), box = this.scene.boxAt(place);
    if (box) return { box: box.name, at: box.at };
    const near = this.scene.nearest(place);
    return near && { run: near.run, at: near.at };
  }

  spread() {
    const [a, b] = [...this.touches.values()];
    return { size: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY), x: (a.clientX + b.clientX) / 2, y: (a.clientY + b.clientY) / 2 };
  }

  move(event) {
    if (this.touches.has(event.pointerId)) this.touches.set(event.pointerId, event);
    if (this.touches.size === 2 && this.pinch) {
      const now = this.spread();
      this.scene.zoom(this.pinch.size / Math.max(1, now.size), this.scene.metres({ clientX: now.x, clientY: now.y }));
      this.scene.pan((now.x - this.pinch.x) / this.scene.scale, -(now.y - this.pinch.y) / this.scene.scale);
      this.pinch = now;
      return;
    }
    const [x, y] = this.scene.metres(event);
    $("where").textContent = `${x.toFixed(2)}, ${y.toFixed(2)} m`;
    if (this.drag) this.dragged(event);
    else if (this.points.length) this.outlined([...this.points, this.place(event)]);
  }

  dragged(event) {
    const drag = this.drag;
    if (drag.kind === "pan") {
      if (drag.from && !drag.moved && Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1]) < 4) return;
      drag.moved = true;
      this.scene.pan((event.clientX - drag.last.clientX) / this.scene.scale, -(event.clientY - drag.last.clientY) / this.scene.scale);
      drag.last = event;
      return;
    }
    if (drag.kind === "shift") {
      if (!drag.moved && Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1]) < 4) return;
      const here = this.scene.metres(event);
      drag.by = rounded([here[0] - drag.begun[0], here[1] - drag.begun[1]]);
      drag.moved = true;
      for (const name of this.runsOf(drag.things))
        this.scene.group(name)?.setAttribute("transform", `translate(${drag.by[0]} ${-drag.by[1]})`);
      $("hint").textContent = `${drag.by[0].toFixed(2)} m to the right, ${drag.by[1].toFixed(2)} m up`;
      return;
    }
    if (drag.kind === "lead" || drag.kind === "feed") {
      if (!drag.from) return;
      const near = this.scene.nearest(this.scene.metres(event));
      const to = near?.at ?? this.scene.metres(event);
      this.scene.sketch(element("path", { class: "sketch", d: `M${drag.from.at[0]} ${-drag.from.at[1]}L${to[0]} ${-to[1]}` }));
      $("hint").textContent = `${apart(drag.from.at, to).toFixed(2)} m${drag.kind === "lead" && Object.keys(this.page.view.routes).length ? " straight" : ""}${near ? ` to ${near.run}/${near.pixel}` : ""}`;
      return;
    }
    drag.moved = true;
    drag.to = this.place(event, this.page.chosen);
    const [shape, corners, tall] = this.reshaped(drag);
    const [way, closed] = outline(shape, corners, tall);
    this.sketched(way, closed);
  }

  // The chosen thing's corners with the one that is dragged where it is now.
  reshaped(drag) {
    const view = this.page.view, name = this.page.chosen, run = view.runs[name] ?? { shape: view.routes[name] ? "line" : "grid", ...(view.routes[name] ?? view.props[name]) };
    if (drag.kind === "box") return ["line", [view.boxes[name].at, drag.to]];
    const corners = run.corners.map((place) => [...place]);
    if (drag.kind === "corner") corners[drag.at] = drag.to;
    const tall = drag.kind === "tall" ? Math.max(0.05, round(this.above(corners, drag.to))) : run.tall;
    return [run.shape, corners, tall];
  }

  above([[ax, ay], [bx, by]], [x, y]) {
    return Math.abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / (Math.hypot(bx - ax, by - ay) || 1);
  }

  sketched(way, closed) {
    const d = way.map(([x, y], at) => `${at ? "L" : "M"}${x} ${-y}`).join("") + (closed ? "Z" : "");
    this.scene.sketch(element("path", { class: "sketch", d }));
    $("hint").textContent = `${lengthOf(way, closed).toFixed(2)} m`;
  }

  outlined(points) {
    if (this.tool === "arch" && points.length === 3) {
      const height = Math.max(0.05, this.above(points, points[2])), [way] = outline("arch", points.slice(0, 2), height);
      this.sketched(way, false);
      $("hint").textContent = `${height.toFixed(2)} m high, ${$("hint").textContent} of wire`;
    } else if (this.tool === "grid" && points.length === 2) this.sketched(...outline("grid", points, 0));
    else this.sketched(points, this.tool === "loop" && points.length > 2 || this.tool === "wall" && points.length === 4);
    if (["line", "loop"].includes(this.tool)) $("hint").textContent += `, ${this.count(points, this.tool === "loop")} pixels`;
  }

  async up(event) {
    this.touches.delete(event.pointerId);
    if (this.pinch) { if (!this.touches.size) this.pinch = null; return; }
    const drag = this.drag;
    this.drag = null;
    if (drag?.kind === "pan") { if (!drag.moved && event.button === 0 && !event.shiftKey) this.page.choose(""); return; }
    if (drag) { await this.dropped(drag, event); return; }
    if (this.tool === "look") return;
    const place = this.place(event);
    if (this.tool === "loop" && this.points.length > 2 && apart(place, this.points[0]) < 12 / this.scene.scale) { this.done(); return; }
    this.points.push(place);
    this.outlined(this.points);
    const needs = { arch: 3, grid: 2, box: 1, span: 2, wall: 4 }[this.tool];
    if (this.points.length === needs) this.done();
  }

  runsOf(things) { return things.flatMap((name) => this.page.view.props[name]?.runs ?? [name]); }

  async dropped(drag, event) {
    const name = this.page.chosen;
    this.scene.sketch();
    $("hint").textContent = HINTS[this.tool];
    if (drag.kind === "shift") {
      if (drag.moved && (drag.by[0] || drag.by[1])) await this.page.act({ act: "shift", things: drag.things, by: drag.by });
      for (const run of this.runsOf(drag.things)) this.scene.group(run)?.removeAttribute("transform");
    } else if (drag.kind === "lead" || drag.kind === "feed") {
      const near = this.scene.nearest(this.scene.metres(event));
      if (drag.from && near) await (drag.kind === "lead" ? this.hang(drag.from, near) : this.feed(drag.from, near));
    } else if (drag.kind === "entry") await this.enter(name, drag.at);
    else if (drag.moved) await this.page.act(this.put(drag, name, drag.to));
  }

  entries(name) { return this.page.view.runs[name]?.entries ?? this.page.view.props[name]?.entries ?? []; }

  async enter(name, at) {
    if (await this.page.act({ act: "set", thing: name, key: "data_in", value: this.entries(name)[at].value }))
      $("hint").textContent = `Data enters ${name} there now.`;
  }

  put(drag, name, to) {
    if (drag.kind === "tall") return { act: "set", thing: name, key: "height", value: this.reshaped({ ...drag, to })[2] };
    if (drag.kind === "box") return { act: "set", thing: name, key: "at", value: to };
    return { act: "corner", thing: name, corner: drag.at, to };
  }

  // ── leads and feeds ──

  async hang(from, near) {
    const view = this.page.view;
    let box, port, behind = null;
    if (from.box) {
      box = from.box;
      const chains = view.boxes[box].chains;
      port = chains.findIndex((chain) => !chain.length) + 1;
      if (!port) {
        port = await this.choose(`Which port of ${box}?`, chains.map((chain, at) => [String(at + 1), `port ${at + 1}: ${chain.join(", ")}`]));
        if (!port) return;
        behind = chains[port - 1].at(-1) ?? null;
      }
    } else {
      if (from.run === near.run) return;
      const on = this.scene.port.get(from.run);
      if (!on) { this.page.problem(`${from.run} hangs on no port yet. Drag from a box to it first.`); return; }
      [box, port] = on.split("/");
      behind = from.run;
    }
    await this.page.act({ act: "hang", run: near.run, box, port: Number(port), behind }, { act: "measure-lead", run: near.run });
  }

  async feed(from, near) {
    const view = this.page.view;
    const of = Object.entries(view.supplies).filter(([, own]) => own.box === from.box).map(([name]) => name);
    if (!from.box || !of.length) { this.page.problem("A feed begins at a box with a supply: choose the box, and add a supply first."); return; }
    const supply = of.length > 1 ? await this.choose("From which supply?", of.map((name) => [name, name])) : of[0];
    if (!supply) return;
    const length = Math.max(0.1, Math.ceil(apart(from.at, near.at) * SLACK * 10) / 10);
    const pixel = near.pixel === near.of ? "last" : near.pixel;
    const every = await this.answer(`A feed to ${near.run}`, [
      ["every", "A tap every so many pixels (0: at this pixel alone)", "number", 0], ["awg", "Wire, AWG", "number", 14], ["fuse", "Fuse, A", "number", 5]]);
    if (!every) return;
    const tap = Number(every.every) > 0 ? { run: near.run, every: Number(every.every), length } : { run: near.run, pixel, length };
    await this.page.act({ act: "feed", name: this.free(`${near.run}-feed`), keys: { supply, awg: Number(every.awg), fuse: Number(every.fuse) }, taps: [tap] });
  }

  // ── what was drawn becomes an act ──

  get kind() { return $("kind").value || this.page.view.kinds[0]; }
  get pitch() { return this.page.view.pitches[this.kind] ?? PITCH; }
  count(points, closed) { return Math.max(closed ? 3 : 2, Math.round(lengthOf(points, closed) / this.pitch) + (closed ? 0 : 1)); }

  // As many pixels as fit on a run at its kind's pitch; 0 where the kind has none.
  fitting(run) {
    const pitch = this.page.view.pitches[run.own.pixel];
    return pitch ? Math.round(run.way.length / pitch) + (run.shape === "loop" ? 0 : 1) : 0;
  }

  free(stem) {
    const view = this.page.view, taken = new Set([view.runs, view.props, view.boxes, view.supplies, view.feeds, view.routes].flatMap(Object.keys));
    for (let number = 1; ; number += 1) {
      const name = number === 1 && !/-?\d$/.test(stem) && stem.includes("-feed") ? stem : `${stem}-${number}`;
      if (!taken.has(name)) return name;
    }
  }

  async done() {
    const { tool } = this;
    let points = this.points;
    while (points.length > 1 && apart(points.at(-1), points.at(-2)) < 1e-6) points = points.slice(0, -1);   // a double click is two
    const least = { line: 2, loop: 3, arch: 3, grid: 2, points: 1, box: 1, span: 2, wall: 4, route: 2 }[tool] ?? Infinity;
    if (points.length < least) return;
    this.leave();
    if (tool === "box") return this.box(points[0]);
    if (tool === "span" || tool === "wall") return this.photograph(tool, points);
    if (tool === "route") return this.route(points);
    if (!this.page.view.kinds.length) { this.page.problem("The show file knows no kind of pixel yet: write [pixel.NAME] with its colour_order in an editor."); return; }
    const name = this.free(tool);
    return this.drawn(tool, name, points, { act: "draw", run: name, keys: { pixel: this.kind, ...this.keys(tool, points) } });
  }

  route(points) {
    const name = this.free("route");
    return this.drawn("route", name, points, { act: "route", name, keys: { path: points } });
  }

  async drawn(tool, name, points, act) {
    if (await this.page.act(act)) {
      this.page.choose(name);
      this.take(tool);
    } else {                               // nothing that was clicked is lost
      this.points = points;
      this.outlined(points);
    }
  }

  keys(tool, points) {
    if (tool === "line") return { shape: "line", path: points, pixels: this.count(points, false) };
    if (tool === "loop") return { shape: "loop", corners: points, pixels: this.count(points, true) };
    if (tool === "points") return { shape: "points", at: points };
    if (tool === "arch") {
      const feet = points.slice(0, 2), height = Math.max(0.05, round(this.above(points, points[2])));
      return { shape: "arch", feet, height, pixels: this.count(outline("arch", feet, height)[0], false) };
    }
    const [[ax, ay], [bx, by]] = points, steps = (a, b) => Math.max(2, Math.round(Math.abs(a - b) / this.pitch) + 1);
    const corner = `${ay < by ? "bottom" : "top"}-${ax < bx ? "left" : "right"}`;
    return { shape: "grid", area: points, columns: steps(ax, bx), rows: steps(ay, by), lines: "rows", turns: "serpentine", data_in: corner };
  }

  async box(at) {
    const told = await this.answer("A box", [["name", "Name", "text", this.free("box")], ["address", "Address (IPv4)", "text", ""], ["ports", "Ports", "number", 4]]);
    if (!told) return;
    const keys = { ports: Number(told.ports), ...(told.address ? { address: told.address } : { delivery: "multicast" }) };
    if (await this.page.act({ act: "box", name: told.name, at, keys })) this.page.choose(told.name);
  }

  async photograph(tool, points) {
    const photo = this.page.view.photo;
    if (!photo?.matrix) { this.page.problem(photo?.problem ?? "There is no photograph yet: start again with --photo house.jpg."); return; }
    const at = points.map((place) => this.scene.point(place)), table = { ...photo.table };
    if (tool === "span") {
      const told = await this.answer("How far apart are these two points?", [["length", "Metres", "number", ""]]);
      if (!(told && Number(told.length) > 0)) return;
      table.spans = [...(table.spans ?? []), { from: at[0], to: at[1], length: Number(told.length) }];
    } else {
      const told = await this.answer("How large is this wall?", [["width", "Metres wide", "number", ""], ["height", "Metres high", "number", ""]]);
      if (!(told && Number(told.width) > 0 && Number(told.height) > 0)) return;
      table.wall = { corners: at, width: Number(told.width), height: Number(told.height) };
    }
    if (!table.spans?.length) delete table.spans;
    await this.page.act({ act: "set", thing: "show", key: "photo", value: table });
  }

  // ── questions ──

  answer(asks, fields) {
    const dialog = $("ask");
    $("asks").textContent = asks;
    $("answers").replaceChildren(...fields.map(([name, label, type, value]) => {
      const input = Object.assign(document.createElement("input"), type === "checkbox" ? { name, type, checked: value } : { name, type, value });
      if (type === "number") input.step = "any";
      const made = document.createElement("label");
      made.append(label, input);
      return made;
    }));
    return this.open(dialog, () => Object.fromEntries([...dialog.querySelectorAll("input")].map((input) => [input.name, input.type === "checkbox" ? input.checked : input.value])));
  }

  choose(asks, options) {
    const dialog = $("ask"), select = document.createElement("select");
    select.setAttribute("aria-labelledby", "asks");
    $("asks").textContent = asks;
    select.append(...options.map(([value, label]) => Object.assign(document.createElement("option"), { value, textContent: label })));
    $("answers").replaceChildren(select);
    return this.open(dialog, () => select.value);
  }

  open(dialog, value) {
    dialog.returnValue = "";
    dialog.showModal();
    dialog.querySelector("input, select")?.focus();
    dialog.querySelector("form").onkeydown = (event) => {
      if (event.key === "Enter") { event.preventDefault(); dialog.close("ok"); }
    };
    return new Promise((resolve) => {
      dialog.onclose = () => resolve(dialog.returnValue === "ok" ? value() : null);
    });
  }

  // ── keys ──

  key(event) {
    const step = event.shiftKey ? COARSE : FINE;
    const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key] ?? [0, 0];
    const handle = event.target.dataset?.handle;
    if (event.ctrlKey || event.metaKey) return;
    if (event.key === "Escape") this.leave();
    else if (event.key === "Enter" && handle?.startsWith("entry:"))
      this.enter(this.page.chosen, Number(handle.slice(6)));
    else if (event.key === "Enter") this.done();
    else if (event.key === "Backspace" && this.points.length) { this.points.pop(); this.outlined(this.points); }
    else if (event.key === "Delete" && this.page.chosen) this.page.act({ act: "take-out", thing: this.page.chosen });
    else if (event.key === "+" || event.key === "=") this.scene.zoom(0.8);
    else if (event.key === "-") this.scene.zoom(1.25);
    else if (dx || dy) {
      if (handle) {
        const [kind, at] = handle.split(":"), place = [Number(event.target.getAttribute("cx")), -Number(event.target.getAttribute("cy"))];
        if (kind !== "entry") this.page.act(this.put({ kind, at: Number(at) }, this.page.chosen, rounded([place[0] + dx * step, place[1] + dy * step])));
      } else this.scene.pan(-dx * 60 / this.scene.scale, -dy * 60 / this.scene.scale);
    } else return;
    event.preventDefault();
  }
}
