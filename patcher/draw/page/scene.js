// The picture: the photograph or squared paper, runs, boxes, leads, feeds. It draws what it is told, in metres.

const SVG = "http://www.w3.org/2000/svg";
const COLOURS = ["#9cc7ff", "#ffb38a", "#a5e3a1", "#e2a8ff", "#ffe08a", "#8ae6e0", "#ff9fc0", "#d0d4da"];
const HANDLE = 9, SNAP = 12;         // points of the screen

export function element(name, attributes = {}, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

export const pairs = (flat) => Array.from({ length: flat.length / 2 }, (_, at) => [flat[2 * at], flat[2 * at + 1]]);
export const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
const line = (points, closed) => points.map(([x, y], at) => `${at ? "L" : "M"}${x} ${-y}`).join("") + (closed ? "Z" : "");
const dots = (flat) => { let d = ""; for (let at = 0; at < flat.length; at += 2) d += `M${flat[at]} ${-flat[at + 1]}h0`; return d; };

// Half an ellipse over two feet, as the show file has it.
export function halfEllipse([[ax, ay], [bx, by]], height, steps = 64) {
  const mx = (ax + bx) / 2, my = (ay + by) / 2, dx = (ax - bx) / 2, dy = (ay - by) / 2, size = Math.hypot(dx, dy) || 1;
  let ux = -dy / size, uy = dx / size;
  if (uy < 0 || (uy === 0 && ux < 0)) { ux = -ux; uy = -uy; }
  return Array.from({ length: steps + 1 }, (_, at) => {
    const angle = Math.PI * at / steps, c = Math.cos(angle), s = Math.sin(angle) * height;
    return [mx + c * dx + s * ux, my + c * dy + s * uy];
  });
}

export function outline(shape, corners, tall) {
  if (shape === "arch" && corners.length === 2) return [halfEllipse(corners, tall), false];
  if (shape === "grid" && corners.length === 2) {
    const [[ax, ay], [bx, by]] = corners;
    return [[[ax, ay], [bx, ay], [bx, by], [ax, by]], true];
  }
  return [corners, shape === "loop"];
}

export class Scene {
  constructor(page) {
    this.page = page;
    this.svg = document.getElementById("scene");
    this.parts = Object.fromEntries(["ground", "routes", "wires", "runs", "marks", "boxes", "ghosts", "handles", "sketch"]
      .map((name) => [name, document.getElementById(name)]));
    this.view = { x: -1, y: -6, wide: 12 };      // metres: left, top (downwards), width
    this.fitted = false;
    this.groups = new Map();
    new ResizeObserver(() => this.look()).observe(this.svg);
  }

  get scale() { return (this.svg.clientWidth || 1) / this.view.wide; }   // points of the screen for a metre

  // The view is set once a frame, however often it is moved meanwhile.
  look() {
    this.asked ??= requestAnimationFrame(() => { this.asked = null; this.set(); });
  }

  set() {
    const high = this.view.wide * (this.svg.clientHeight || 1) / (this.svg.clientWidth || 1);
    this.svg.setAttribute("viewBox", `${this.view.x} ${this.view.y} ${this.view.wide} ${high}`);
    this.lay();
    clearTimeout(this.settling);
    this.settling = setTimeout(() => { this.paper(); this.handles(); this.labels(); if (this.page.view?.readable) this.boxes(this.page.view); }, 60);
  }

  // Metres at a point of the screen.
  metres(event) {
    const frame = this.svg.getBoundingClientRect();
    return [this.view.x + (event.clientX - frame.left) / this.scale, -(this.view.y + (event.clientY - frame.top) / this.scale)];
  }

  zoom(by, at = null) {
    const high = this.svg.clientHeight / this.scale;
    const [x, y] = at ?? [this.view.x + this.view.wide / 2, -(this.view.y + high / 2)];
    const wide = Math.min(4000, Math.max(0.2, this.view.wide * by)), part = wide / this.view.wide;
    this.view = { x: x - (x - this.view.x) * part, y: -y - (-y - this.view.y) * part, wide };
    this.look();
  }

  pan(dx, dy) { this.view = { ...this.view, x: this.view.x - dx, y: this.view.y + dy }; this.look(); }

  fit(view) {
    const every = [...Object.values(view.runs).flatMap((run) => pairs(run.at)),
      ...Object.values(view.boxes).filter((box) => box.at).map((box) => box.at), ...Object.values(view.routes).flatMap((route) => route.corners)];
    if (!every.length) every.push(...(view.photo?.corners ?? []));
    if (!every.length) every.push([0, 0], [8, 5]);
    const xs = every.map((p) => p[0]), ys = every.map((p) => p[1]);
    const least = (values) => values.reduce((a, b) => Math.min(a, b)), most = (values) => values.reduce((a, b) => Math.max(a, b));
    const [x0, x1, y0, y1] = [least(xs), most(xs), least(ys), most(ys)];
    const ratio = (this.svg.clientWidth || 1) / (this.svg.clientHeight || 1);
    const wide = Math.max(1, (x1 - x0) * 1.12, (y1 - y0) * 1.2 * ratio);
    this.view = { x: (x0 + x1) / 2 - wide / 2, y: -(y0 + y1) / 2 - wide / ratio / 2, wide };
    this.set();
  }

  colour(port) {
    const boxes = Object.keys(this.page.view?.boxes ?? {});
    const at = boxes.indexOf((port ?? "").split("/")[0]);
    return at < 0 ? "#d0d4da" : COLOURS[at % COLOURS.length];
  }

  show(view) {
    if (!view.readable) return;
    this.port = new Map();
    for (const [box, own] of Object.entries(view.boxes))
      own.chains.forEach((chain, at) => chain.forEach((run) => this.port.set(run, `${box}/${at + 1}`)));
    this.ground(view);
    for (const [name, group] of this.groups) if (!view.runs[name]) { group.remove(); this.groups.delete(name); }
    for (const [name, run] of Object.entries(view.runs)) this.run(name, run);
    this.routes(view);
    this.wires(view);
    this.boxes(view);
    if (!this.fitted) { this.fitted = true; this.fit(view); }
    this.labels();
    this.handles();
  }

  run(name, run) {
    let group = this.groups.get(name);
    const key = JSON.stringify([run.at, run.corners, run.volts, run.edges, run.hung, this.port.get(name)]);
    if (group?.dataset.key === key) return;
    const made = element("g", { "data-run": name, class: run.hung && this.port.has(name) ? "run" : "run unhung" });
    made.dataset.key = key;
    if (this.port.has(name)) made.style.setProperty("--c", this.colour(this.port.get(name)));
    const at = pairs(run.at);
    if (at.length) {
      const way = line(at, run.shape === "loop");
      made.append(element("path", { class: "under", d: way }), element("path", { class: "thread", d: way }));
      for (const [grade, css] of [[0, "low"], [1, "tense"]]) {
        const d = run.volts.flatMap(([pixel, own], which) => own === grade
          ? [line(at.slice(pixel - 1, (run.volts[which + 1]?.[0] ?? at.length) + 0))] : []).join("");
        if (d) made.append(element("path", { class: css, d }));
      }
      made.append(element("path", { class: "dots", d: dots(run.at) }), element("path", { class: "hit", d: way }));
    }
    if (group) group.replaceWith(made); else this.parts.runs.append(made);
    this.groups.set(name, made);
    if (this.chosen === name) made.classList.add("chosen");
  }

  ground(view) {
    const image = document.getElementById("photo"), photo = view.photo?.matrix ? view.photo : null;
    image.hidden = !photo;
    if (photo && image.dataset.stamp !== String(photo.stamp)) {
      image.dataset.stamp = photo.stamp;
      image.src = `photo?${photo.stamp}`;
      [image.width, image.height] = photo.size;
    }
    if (photo && this.matrix !== photo.matrix.join()) { this.matrix = photo.matrix.join(); this.fitted = false; }
    this.lay();
    this.paper();
  }

  // The photograph where its scale puts it, a wall seen at an angle straightened: points of it to points of the screen.
  lay() {
    const photo = this.page.view?.photo;
    if (!photo?.matrix) return;
    const k = this.scale, { x, y } = this.view, m = photo.matrix;
    const h = [0, 1, 2].map((at) => [k * (m[at] - x * m[6 + at]), k * (-m[3 + at] - y * m[6 + at]), m[6 + at]]);
    document.getElementById("photo").style.transform =
      `matrix3d(${[h[0][0], h[0][1], 0, h[0][2], h[1][0], h[1][1], 0, h[1][2], 0, 0, 1, 0, h[2][0], h[2][1], 0, h[2][2]].join(",")})`;
  }

  // The point of the photograph at a place in metres.
  point([x, y]) {
    const [a, b, c, d, e, f, g, h, i] = this.page.view.photo.matrix;
    const inverse = [[e * i - f * h, c * h - b * i, b * f - c * e], [f * g - d * i, a * i - c * g, c * d - a * f], [d * h - e * g, b * g - a * h, a * e - b * d]];
    const [u, v, w] = inverse.map((row) => row[0] * x + row[1] * y + row[2]);
    return [u / w, v / w].map((value) => Math.round(value * 10) / 10);
  }

  paper() {
    const ground = this.parts.ground;
    ground.querySelector(".paper")?.remove();
    for (const text of ground.querySelectorAll("text")) text.remove();
    const { x, y, wide } = this.view, high = this.svg.clientHeight / this.scale;
    const step = [0.1, 0.5, 1, 5, 10, 50, 100].find((each) => each * this.scale > 60) ?? 500;
    let d = "";
    const size = 11 / this.scale;
    for (let at = Math.ceil(x / step) * step; at < x + wide; at += step) {
      d += `M${at} ${y}v${high}`;
      ground.append(element("text", { class: "metre", x: at, y: y + high - size * 0.4, "font-size": size }, `${+at.toFixed(2)}`));
    }
    for (let at = Math.ceil(y / step) * step; at < y + high; at += step) {
      d += `M${x} ${at}h${wide}`;
      ground.append(element("text", { class: "metre", x: x + size * 0.3, y: at, "font-size": size }, `${+(-at).toFixed(2)}`));
    }
    ground.append(element("path", { class: "paper", d }));
  }

  // The routes along which cables are run, under all else.
  routes(view) {
    this.parts.routes.replaceChildren(...Object.entries(view.routes).map(([name, route]) => {
      const d = line(route.corners);
      return element("g", { "data-route": name, class: this.chosen === name ? "route chosen" : "route" },
        element("path", { class: "along", d }), element("path", { class: "hit", d }), element("title", {}, `route ${name}`));
    }));
  }

  wires(view) {
    this.parts.wires.replaceChildren(
      ...view.wires.filter((wire) => wire.places.length > 1).map((wire) => element("path", { class: "wire", d: line(wire.places), "data-feed": wire.feed })),
      ...view.wires.map((wire) => element("path", { class: "joint", d: dots(wire.joints.flat()) })),
      ...(view.photo?.spans ?? []).flatMap((span) => [
        element("path", { class: "spanned", d: line(span.at) }),
        element("text", { x: (span.at[0][0] + span.at[1][0]) / 2, y: -(span.at[0][1] + span.at[1][1]) / 2, "font-size": 13 / this.scale },
          `${span.length.toFixed(2)} m${span.percent === null ? "" : ` (${span.percent > 0 ? "+" : ""}${span.percent} %)`}`)]),
      ...view.leads.map((lead) => {
        const made = element("path", { class: lead.short ? "lead short" : "lead", d: line(lead.places), "data-lead": lead.run });
        made.style.setProperty("--c", this.colour(lead.port));
        return made;
      }));
  }

  // The leads of a proposal that is not taken yet, and the boxes that it places; leads of the file stand back meanwhile.
  ghosts(offer) {
    this.svg.classList.toggle("ghosted", Boolean(offer));
    this.parts.ghosts.replaceChildren(...(offer?.leads ?? []).map((lead) => {
      const made = element("g", { class: offer.moved.includes(lead.run) ? "ghost new" : "ghost", "data-ghost": lead.run },
        element("path", { d: line(lead.places) }), element("path", { class: "end", d: dots(lead.to) }),
        element("title", {}, `${lead.run} on ${lead.port}: ${lead.length.toFixed(2)} m`));
      made.style.setProperty("--c", this.colour(lead.port));
      return made;
    }), ...(offer?.boxes ?? []).map(({ name, at: [x, y] }) => {
      const size = Math.max(0.3, 14 / this.scale), half = size / 2;
      const made = element("g", { class: "ghost new", "data-ghost-box": name },
        element("rect", { class: "box", x: x - half, y: -y - half, width: size, height: size, rx: 0.04 }), element("title", {}, `${name} is to stand here`));
      made.style.setProperty("--c", this.colour(name));
      return made;
    }));
  }

  boxes(view) {
    const size = Math.max(0.3, 14 / this.scale);
    this.parts.boxes.replaceChildren(...Object.entries(view.boxes).filter(([, box]) => box.at).map(([name, box]) => {
      const made = element("rect", { class: "box", x: box.at[0] - size / 2, y: -box.at[1] - size / 2, width: size, height: size, rx: 0.04, "data-box": name });
      made.style.setProperty("--c", this.colour(name));
      return made;
    }));
  }

  // Names, entries and universes' edges, of one size on the screen however near one is.
  labels() {
    const view = this.page.view, size = 13 / this.scale, made = [], taken = [];
    if (!view?.readable) return;
    const many = Object.keys(view.runs).length > 80;
    // A name that would stand on another one waits until one is nearer; the chosen one's comes first.
    const word = (x, y, text, css = "") => {
      const wide = text.length * size * 0.58;
      if (taken.some(([left, top, right]) => x < right && x + wide > left && Math.abs(y - top) < size * 1.1)) return;
      taken.push([x, y, x + wide]);
      made.push(element("text", { x, y, "font-size": size, class: css }, text));
    };
    const runs = Object.entries(view.runs).sort(([a], [b]) => (b === this.chosen) - (a === this.chosen));
    for (const [name, run] of runs) {
      if (!run.at.length) continue;
      const at = pairs(run.at), [x, y] = at[0], near = at[1] ?? [x + 1, y];
      const turn = Math.atan2(-(near[1] - y), near[0] - x) * 180 / Math.PI;
      if (!many || this.chosen === name) {
        const own = this.chosen === name ? size : size * 0.65;
        made.push(element("path", { class: "entry", d: `M${own} 0L${-own * 0.3} ${-own * 0.6}L${-own * 0.3} ${own * 0.6}Z`, transform: `translate(${x} ${-y}) rotate(${turn})` }));
        const middle = at[Math.floor(at.length / 2)];
        word(middle[0] + size * 0.6, -middle[1] - size * 0.7, name);
        for (const [pixel, universe] of run.edges.slice(1)) {
          const [ex, ey] = at[pixel - 1] ?? [];
          if (ex !== undefined) made.push(element("path", { class: "edge", d: `M${ex} ${-ey - size * 0.7}v${size * 1.4}` }),
            this.chosen === name ? element("text", { x: ex, y: -ey + size * 1.7, "font-size": size * 0.8 }, `universe ${universe}`) : "");
        }
      }
    }
    for (const [name, box] of Object.entries(view.boxes))
      if (box.at) word(box.at[0] + Math.max(0.2, size * 0.8), -box.at[1] + size * 0.4, name);
    for (const [name, route] of Object.entries(view.routes)) {
      const at = Math.floor((route.corners.length - 1) / 2), [[ax, ay], [bx, by]] = route.corners.slice(at, at + 2);
      word((ax + bx) / 2 + size * 0.4, -(ay + by) / 2 - size * 0.4, name, "route");
    }
    const bad = new Set(view.findings.filter((one) => one.severity !== "note" && !one.accepted).map((one) => one.thing));
    for (const name of bad) {
      const at = this.place(name);
      if (at) made.push(element("text", { x: at[0] - size, y: -at[1] - size, "font-size": size * 1.5, class: "flag" }, "⚠"));
    }
    this.parts.marks.replaceChildren(...made.filter(Boolean));
  }

  place(name) {
    const view = this.page.view, run = view.runs[name], box = view.boxes[name], prop = view.props[name];
    if (view.routes[name]) return view.routes[name].corners[0];
    if (run?.at.length) return run.at.slice(0, 2);
    if (box?.at) return box.at;
    return prop?.runs.map((one) => this.place(one)).find(Boolean) ?? null;
  }

  // What is moved in the picture while a thing is dragged.
  group(name) { return this.groups.get(name) ?? this.parts.routes.querySelector(`[data-route="${name}"]`); }

  choose(name) {
    for (const group of this.groups.values()) group.classList.remove("chosen");
    this.chosen = name;
    for (const group of this.parts.routes.children) group.classList.toggle("chosen", group.dataset.route === name);
    for (const one of [name, ...this.page.gathered, ...(this.page.view?.props?.[name]?.runs ?? [])]) this.groups.get(one)?.classList.add("chosen");
    this.handles();
    this.labels();
  }

  // What can be dragged of the chosen thing: corners, a box, where data enters.
  handles() {
    const view = this.page.view, name = this.chosen, size = HANDLE / this.scale;
    const active = document.activeElement?.dataset?.handle;
    const made = [];
    const thing = view?.runs?.[name] ?? (view?.props?.[name]?.corners.length ? view.props[name] : view?.routes?.[name] ?? null);
    const handle = (kind, at, label, [x, y], css = "") => made.push(element("circle", {
      class: `handle ${css}`, cx: x, cy: -y, r: size, tabindex: 0, role: "button", "data-handle": `${kind}:${at}`,
      "aria-label": `${label}: ${x.toFixed(2)}, ${y.toFixed(2)} metres. ${kind === "entry" ? "Enter does it." : "Arrow keys move it."}`,
    }, element("title", {}, label)));
    thing?.corners.forEach((place, at) => handle("corner", at, `Corner ${at + 1} of ${name}`, place));
    if (thing?.tall != null) handle("tall", 0, `Top of ${name}`, halfEllipse(thing.corners, thing.tall)[32]);
    const beside = 2.1 * size;               // the corner there has a handle of its own
    thing?.entries?.forEach((entry, at) => { if (!entry.now) handle("entry", at, `Let data enter ${name} here`, [entry.at[0] + beside, entry.at[1] + beside], "data"); });
    if (view?.boxes?.[name]?.at) handle("box", 0, `Box ${name}`, view.boxes[name].at);
    this.parts.handles.replaceChildren(...made);
    if (active) this.parts.handles.querySelector(`[data-handle="${active}"]`)?.focus();
  }

  sketch(...made) { this.parts.sketch.replaceChildren(...made); }

  // The corner, end or box nearest to a place on the screen, if it is near.
  snapped(place, but = "") {
    const view = this.page.view;
    let best = null, least = SNAP / this.scale;
    const look = (at) => { const away = apart(at, place); if (away < least) { least = away; best = at; } };
    for (const [name, run] of Object.entries(view?.runs ?? {})) {
      if (name === but) continue;
      run.corners.forEach(look);
      if (run.at.length) { look(run.at.slice(0, 2)); look(run.at.slice(-2)); }
    }
    for (const [name, route] of Object.entries(view?.routes ?? {})) if (name !== but) route.corners.forEach(look);
    return best ?? place;
  }

  // The run nearest to a place, with its nearest pixel; null where none is near.
  nearest(place, reach = 20) {
    let best = null, least = reach / this.scale;
    for (const [name, run] of Object.entries(this.page.view?.runs ?? {}))
      for (let at = 0; at < run.at.length; at += 2) {
        const away = Math.hypot(run.at[at] - place[0], run.at[at + 1] - place[1]);
        if (away < least) { least = away; best = { run: name, pixel: at / 2 + 1, of: run.at.length / 2, at: [run.at[at], run.at[at + 1]] }; }
      }
    return best;
  }

  boxAt(place, reach = 22) {
    return Object.entries(this.page.view?.boxes ?? {})
      .filter(([, box]) => box.at && apart(box.at, place) < Math.max(0.2, reach / this.scale))
      .map(([name, box]) => ({ name, ...box }))[0] ?? null;
  }
}
