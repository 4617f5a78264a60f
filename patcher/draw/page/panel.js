// Beside the picture: what is chosen as a form, what is wrong, and everything in a list. The form's fields are those of
// the show file's schema, so that the page knows no key by itself.

const $ = (id) => document.getElementById(id);
const MODELS = { box: "Controller", supply: "Supply", feed: "Feed", prop: "Prop", route: "CableRoute" };
const HIDDEN = new Set(["shape", "like", "about", "name", "of", "file"]);

function make(tag, properties = {}, ...inside) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...inside);
  return made;
}

export class Panel {
  constructor(page) {
    this.page = page;
    this.shown = "";
    $("group").onclick = () => this.group();
  }

  // A prop of the runs that were gathered, or are named.
  async group() {
    const runs = this.page.gathered.size ? [...this.page.gathered] : this.page.view.runs[this.page.chosen] ? [this.page.chosen] : [];
    const told = await this.page.tools.answer("A prop: one thing that the eye sees", [["name", "Name", "text", this.page.tools.free("prop")], ["runs", "Its runs, with commas", "text", runs.join(", ")]]);
    if (!told) return;
    this.page.letGo();
    const names = told.runs.split(",").map((name) => name.trim()).filter(Boolean);
    if (await this.page.act({ act: "draw-grid", prop: told.name, keys: { runs: names } })) this.page.choose(told.name);
  }

  // A grid that is one run becomes a prop with bands of its lines, each a run of its own.
  async split(name, thing) {
    const told = await this.page.tools.answer(`${name} in bands`, [["count", "How many bands", "number", 3]]);
    const { lines, rows, columns, turns, data_in: corner, pixel } = thing.own, count = Number(told?.count);
    const whole = lines === "columns" ? columns : rows;
    if (!told || !(count > 1 && count <= whole)) return;
    const edge = (at) => Math.round(whole * at / count);
    const acts = [{ act: "take-out", thing: name }, { act: "draw-grid", prop: name, keys: { area: thing.corners, columns, rows, lines, turns, data_in: corner } }];
    for (let at = 0; at < count; at += 1)
      acts.push({ act: "draw", run: `${name}-${"abcdefghijklmnopqrstuvwxyz"[at] ?? at + 1}`, keys: { pixel, shape: "band", of: name, band: [edge(at) + 1, edge(at + 1)], data_in: corner } });
    if (await this.page.act(...acts)) this.page.choose(name);
  }

  find(name) {
    const view = this.page.view;
    if (!view?.readable) return null;
    if (view.runs[name]) return { kind: "run", ...view.runs[name] };
    if (view.props[name]) return { kind: "prop", ...view.props[name] };
    if (view.boxes[name]) return { kind: "box", ...view.boxes[name] };
    if (view.supplies[name]) return { kind: "supply", own: view.supplies[name] };
    if (view.feeds[name]) return { kind: "feed", own: view.feeds[name] };
    if (view.routes[name]) return { kind: "route", ...view.routes[name] };
    return null;
  }

  show() {
    const view = this.page.view;
    if (!view) return;
    const thing = this.find(this.page.chosen);
    const key = JSON.stringify([this.page.chosen, thing && { ...thing, at: 0 }, this.page.told.lit]);
    if (key !== this.shown) { this.shown = key; this.form(thing); }
    this.findings(view);
    this.list(view);
    if (view.readable && $("kind").dataset.now !== view.kinds.join())  {
      const was = $("kind").value;
      $("kind").dataset.now = view.kinds.join();
      $("kind").replaceChildren(...view.kinds.map((kind) => make("option", { value: kind, textContent: kind })));
      if (view.kinds.includes(was)) $("kind").value = was;
    }
  }

  form(thing) {
    const name = this.page.chosen, focus = document.activeElement?.dataset?.key;
    $("chosen-name").textContent = thing ? name : "Nothing is chosen";
    $("chosen-about").textContent = thing ? this.about(name, thing) : "Click a thing in the picture, or choose it in the list.";
    if (!thing) { $("form").replaceChildren(); return; }
    const model = thing.kind === "run" ? thing.model : thing.kind === "prop" && thing.corners.length ? "GridProp" : MODELS[thing.kind];
    const fields = Object.entries(this.page.schema?.$defs[model]?.properties ?? {})
      .filter(([key]) => !HIDDEN.has(key)).map(([key, schema]) => [key, this.field(name, key, schema, thing)]).filter(([, field]) => field);
    const often = new Set(["pixel", "pixels", "data_in", "lead", "height", "passes", "columns", "rows", "lines", "turns", "address", "ports", "volts", "amps", "box", "supply", "awg", "fuse"]);
    const rest = make("details", {}, make("summary", { textContent: "Everything else" }), ...fields.filter(([key]) => !often.has(key)).map(([, field]) => field));
    if (this.open) rest.open = true;
    rest.ontoggle = () => { this.open = rest.open; };
    $("form").replaceChildren(this.name(name), ...fields.filter(([key]) => often.has(key)).map(([, field]) => field), ...this.places(name, thing), rest, ...this.deeds(name, thing));
    if (focus) $("form").querySelector(`[data-key="${focus}"]`)?.focus();
  }

  // The name, first of all: who draws names each thing.
  name(name) {
    const input = make("input", { type: "text", value: name, maxLength: 60 });
    input.dataset.key = "name";
    input.onchange = async () => {
      const to = input.value.trim();
      if (to && to !== name && await this.page.act({ act: "rename", thing: name, name: to })) this.page.choose(to);
      else input.value = name;
    };
    return make("label", {}, make("span", { textContent: "name" }), input);
  }

  about(name, thing) {
    const words = [];
    const port = this.page.scene.port?.get(name);
    if (thing.kind === "run") {
      words.push(`${thing.shape === "none" ? "without a picture" : thing.shape}, ${thing.pixels} pixel${thing.pixels === 1 ? "" : "s"}`, port ? `on ${port}` : "on no port yet");
      if (thing.way) words.push(`${thing.way.length.toFixed(2)} m${thing.way.pitch ? `, ${(thing.way.pitch * 1000).toFixed(0)} mm from pixel to pixel` : ""}`);
      if (thing.volts.length) words.push(`${Math.min(...thing.volts.map((one) => one[2])).toFixed(1)} V at least`);
    } else if (thing.kind === "box") {
      for (const own of this.page.view.ports.filter((one) => one.port.startsWith(`${name}/`)))
        words.push(`${own.port}: ${own.pixels}${own.most ? ` of ${own.most}` : ""} pixels, ${own.frame_ms} of ${own.period_ms} ms`);
      const of = Object.entries(this.page.view.supplies).filter(([, own]) => own.box === name).map(([supply]) => supply);
      words.push(of.length ? `supplied by ${of.join(", ")}` : "no supply in it");
    } else if (thing.kind === "supply") {
      const of = Object.entries(this.page.view.feeds).filter(([, own]) => own.supply === name).map(([feed]) => feed);
      words.push(thing.own.box ? `in ${thing.own.box}` : "in no box", of.length ? `feeds: ${of.join(", ")}` : "no feed yet: drag a Feed from its box to a pixel");
    } else if (thing.kind === "feed") {
      words.push(thing.own.supply ? `from ${thing.own.supply}` : `branches off ${thing.own.from}`, `to ${this.page.view.wires.find((wire) => wire.feed === name)?.runs.join(", ")}`);
    } else if (thing.kind === "route") {
      const of = this.page.view.leads.filter((lead) => lead.places.length > 2).length;
      words.push(`${thing.length.toFixed(2)} m along which cables are run`, `${of} lead${of === 1 ? "" : "s"} of the show go along routes`);
    } else if (thing.kind === "prop") words.push(thing.runs.join(", ") || "no run yet");
    if (thing.like) words.push(`like ${thing.like}, but for what its own fields say`);
    return `${words.join("; ")}.`;
  }

  // One key of the schema as a field; null for lists and tables.
  field(name, key, schema, thing) {
    const any = schema.anyOf?.find((one) => one.type !== "null") ?? schema;
    const mixed = schema.anyOf?.some((one) => one.enum || one.const) && schema.anyOf.some((one) => one.type === "integer");
    const type = mixed ? "string" : any.enum ? "enum" : any.type;
    if (!["enum", "string", "number", "integer", "boolean"].includes(type)) return null;
    const own = thing.own?.[key], places = any.unit === "m or ft" || schema.unit === "m or ft";
    const set = (value) => this.page.act({ act: "set", thing: name, key, value });
    let input;
    if (type === "boolean") {
      input = make("input", { type: "checkbox", checked: own ?? schema.default ?? false });
      input.onchange = () => set(input.checked);
    } else if (type === "enum" || key === "pixel") {
      const every = key === "pixel" ? this.page.view.kinds : any.enum, holds = thing.has?.[key] ?? schema.default;
      const options = own === undefined ? every.filter((value) => value !== holds) : every;
      input = make("select", {}, ...(own === undefined ? [make("option", { value: "", textContent: holds ?? "" })] : []),
        ...options.map((value) => make("option", { value, textContent: value })));
      input.value = own ?? "";
      input.onchange = () => set(input.value || null);
    } else {
      input = make("input", { type: type === "string" ? "text" : "number", value: own ?? "", placeholder: thing.has?.[key] ?? schema.default ?? "" });
      if (type !== "string") input.step = type === "integer" ? 1 : "any";
      input.onchange = () => {
        if (input.value.trim() === "") set(null);
        else if (mixed) set(/^\d+$/.test(input.value.trim()) ? Number(input.value) : input.value.trim());
        else set(type === "string" ? input.value : Number(input.value) * (places ? this.page.view.metre : 1));
      };
    }
    input.dataset.key = key;
    return make("label", { title: schema.description ?? "" }, make("span", { textContent: key.replaceAll("_", " ") }), input);
  }

  // The corners as text, for whoever would rather type than drag.
  places(name, thing) {
    if (!thing.corners?.length || thing.shape === "band") return [];
    const input = make("textarea", { value: thing.corners.map((place) => place.join(", ")).join("\n"), rows: Math.min(6, thing.corners.length) });
    input.dataset.key = "places";
    input.onchange = () => {
      const places = input.value.trim().split(/\n|;/).map((text) => text.split(",").map(Number));
      if (places.length !== thing.corners.length || places.some((place) => place.length !== 2 || place.some((value) => !Number.isFinite(value)))) {
        this.page.problem(`${thing.corners.length} places, one a line, as 1.5, 2.0`);
        return;
      }
      const acts = places.map((to, corner) => ({ act: "corner", thing: name, corner, to })).filter(({ to, corner }) => to.some((value, at) => value !== thing.corners[corner][at]));
      if (acts.length) this.page.act(...acts);
    };
    return [make("label", { className: "wide" }, make("span", { textContent: "places, x, y in metres" }), input)];
  }

  deeds(name, thing) {
    const key = (text, onclick, css = "key") => make("button", { className: css, type: "button", textContent: text, onclick });
    const made = [];
    if (thing.kind === "run" || thing.kind === "prop") {
      const lit = this.page.told.lit === name;
      made.push(key(lit ? "Blackout" : "Light it", () => this.page.ask(lit ? { do: "dark" } : { do: "light", thing: name })),
        key("Copy …", () => this.copy(name)));
    }
    if (thing.shape === "grid" && thing.own.lines) made.push(key("In bands …", () => this.split(name, thing)));
    const fits = thing.way && this.page.tools.fitting(thing);
    if (fits && fits !== thing.own.pixels && thing.own.pixels) made.push(key(`${fits} pixels would fit`, () => this.page.act({ act: "set", thing: name, key: "pixels", value: fits })));
    if (thing.kind === "run" && this.page.scene.port?.get(name)) made.push(key("Take off its port", () => this.page.act({ act: "unhang", run: name })));
    if (thing.kind === "box") made.push(key("Add a supply …", () => this.supply(name)));
    made.push(key("Take out", async () => { if (await this.page.act({ act: "take-out", thing: name })) this.page.choose(""); }));
    return [make("div", { className: "row" }, ...made)];
  }

  async copy(name) {
    const told = await this.page.tools.answer(`Copies of ${name}`, [["count", "How many", "number", 1], ["dx", "Each so much to the right, m", "number", 1],
      ["dy", "and up, m", "number", 0], ["mirrored", "Left and right exchanged", "checkbox", false], ["turned", "Turned, degrees", "number", 0]]);
    if (told) await this.page.act({ act: "copy", thing: name, by: [Number(told.dx), Number(told.dy)], count: Number(told.count),
      mirrored: told.mirrored, turned: Number(told.turned) });
  }

  async supply(box) {
    const told = await this.page.tools.answer(`A supply in ${box}`, [["name", "Name", "text", this.page.tools.free(`${box}-supply`)], ["volts", "Volts", "number", 12], ["amps", "Amperes", "number", 30]]);
    if (told && await this.page.act({ act: "supply", name: told.name, keys: { volts: Number(told.volts), amps: Number(told.amps), box } })) this.page.choose(told.name);
  }

  findings(view) {
    const key = JSON.stringify(view.findings);
    if ($("findings").dataset.now === key) return;
    $("findings").dataset.now = key;
    const order = { error: 0, warning: 1, note: 2 };
    const all = view.findings.filter((one) => !one.accepted).sort((a, b) => order[a.severity] - order[b.severity]);
    $("findings").replaceChildren(...(all.length ? all : [{ severity: "good", says: "No problem found.", where: "", try: "" }]).map((one) => {
      const made = make("li", { className: one.severity }, make("b", { textContent: one.severity === "good" ? "" : `${one.severity}: ${one.where} ` }), `${one.says} `, make("small", { textContent: one.try && `→ ${one.try}` }));
      if (one.thing) made.append(make("button", { className: "key", textContent: `Show ${one.thing}`, onclick: () => this.page.choose(one.thing) }));
      return made;
    }));
  }

  list(view) {
    if (!view.readable) return;
    const names = [...Object.keys(view.props), ...Object.keys(view.runs), ...Object.keys(view.boxes), ...Object.keys(view.supplies), ...Object.keys(view.feeds), ...Object.keys(view.routes)];
    const key = JSON.stringify([names, this.page.chosen]);
    if ($("list").dataset.now === key) return;
    $("list").dataset.now = key;
    const kind = (name) => view.runs[name] ? "run" : view.props[name] ? "prop" : view.boxes[name] ? "box" : view.supplies[name] ? "supply" : view.feeds[name] ? "feed" : "route";
    const focus = document.activeElement?.dataset?.thing;
    $("list").replaceChildren(...names.map((name) => {
      const made = make("button", { className: "key", onclick: (event) => event.shiftKey ? this.page.gather(name) : this.page.choose(name) }, `${name} `, make("small", { textContent: kind(name) }));
      made.setAttribute("aria-pressed", String(name === this.page.chosen));
      made.dataset.thing = name;
      return make("li", {}, made);
    }));
    if (focus) $("list").querySelector(`[data-thing="${focus}"]`)?.focus();
  }
}
