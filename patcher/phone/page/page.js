// The page: it shows the one state that Patcher keeps, and sends taps. All it remembers itself is which part of it is
// open. A tap without a connection is refused in words, and never sent later.
"use strict";

const $ = (id) => document.getElementById(id);
const SECTIONS = ["home", "thing", "round", "film", "boxes", "report"];
const BEAT = 1000, SILENT = 3000, AGAIN = 400;   // milliseconds

let socket = null;
let now = null;            // the state as it was told last
let heard = 0;             // when anything was heard
let retry = 300;
let sought = null;         // a name that was asked for and not answered yet
let open = "home";
let screenShown = "";
let whatWas = "";          // what was lit last: the head is short again for something else
let naming = null;         // the screen to which somebody said no, and now names what is not so

// ── the connection ───────────────────────────────────────────────────────────────────────────────────────────────

function connect() {
  const own = new WebSocket(`ws://${location.host}/state`);
  socket = own;
  heard = Date.now();
  own.onopen = () => { heard = Date.now(); retry = 300; };
  own.onmessage = (event) => {
    heard = Date.now();
    if (socket !== own) return;
    connected();
    if (event.data !== ".") show(JSON.parse(event.data));
  };
  own.onclose = () => { if (socket === own) lost(); };
}

function connected() {
  if (document.body.classList.contains("stale") || $("link").textContent !== "Connected") {
    document.body.classList.remove("stale");
    $("link").className = "";
    $("link").textContent = "Connected";
    if (!places) loadPlaces().then(() => { if (now) showLit(now); }).catch(() => {});
  }
}

let retrying = null;
function lost() {
  const own = socket;
  socket = null;
  if (own) { own.onclose = null; own.close(); }
  letGo();
  document.body.classList.add("stale");
  $("link").className = "lost";
  if ($("link").textContent.startsWith("Connected") || $("link").textContent.startsWith("Connecting"))
    $("link").textContent = "No connection. What you see may be old. Trying again …";
  clearTimeout(retrying);
  retrying = setTimeout(comeBack, retry);
  retry = Math.min(2000, retry * 1.5);
}

async function comeBack() {
  try {
    const answer = await fetch("here", { signal: AbortSignal.timeout(3000) });
    if (answer.status === 403) {
      $("link").textContent = "Patcher was started again. Scan the new code in its terminal.";
      retry = 5000;
      lost();
      return;
    }
  } catch {
    $("link").textContent = "No connection. What you see may be old. Trying again …";
    lost();
    return;
  }
  connect();
}

function send(act, text = "", more = {}) {
  if (!socket || socket.readyState !== WebSocket.OPEN) {
    if (act !== "here") problem("Not sent: no connection. Without one, all pixels go dark after a while.");
    return false;
  }
  socket.send(JSON.stringify({ do: act, text, ...more }));
  return true;
}

setInterval(() => {
  if (!socket) return;
  if (Date.now() - heard > SILENT) lost();
  else send("here");
}, BEAT);
window.addEventListener("offline", () => { if (socket) lost(); });
window.addEventListener("online", () => { if (!socket) { retry = 300; lost(); } });
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") { letGo(); return; }
  stayAwake();
  if (!socket) { retry = 100; lost(); } else send("here");
});

async function stayAwake() {
  try { await navigator.wakeLock.request("screen"); } catch { /* this browser has none, or not on this address */ }
}

// ── what is shown ────────────────────────────────────────────────────────────────────────────────────────────────

function problem(text) {
  $("problem").hidden = !text;
  $("problem").textContent = text;
}

function lines(list, texts) {
  if (list.dataset.now === JSON.stringify(texts)) return;
  list.dataset.now = JSON.stringify(texts);
  list.replaceChildren(...texts.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

// More lines are lit than the head has room for: that is to be seen, and they can be read.
function cutSays() {
  const says = $("says");
  const whole = says.classList.contains("whole");
  const longer = !says.hidden && (whole ? says.children.length > 1 : says.scrollHeight > says.clientHeight + 2);
  says.classList.toggle("cut", longer && !whole);
  $("more").hidden = !longer;
  $("more").textContent = whole ? "Less" : "More";
  $("more").setAttribute("aria-expanded", String(whole));
}

function pressed(attribute, value) {
  for (const key of document.querySelectorAll(`[data-${attribute}]`))
    key.setAttribute("aria-pressed", String(key.dataset[attribute] === value));
}

let spokenAt = 0, speaking = null;
function speak(text) {
  clearTimeout(speaking);
  speaking = setTimeout(() => { $("spoken").textContent = text; spokenAt = Date.now(); },
    Math.max(0, spokenAt + 1500 - Date.now()));
}

function show(told) {
  if (String(told.plan) !== document.body.dataset.plan) { location.reload(); return; }
  const before = now;
  now = told;
  problem(told.failed || told.problem);
  const what = told.in_round ? "Walk-through" : told.mode === "film" ? "Film" : told.thing;
  $("state").textContent = told.failed ? "Nothing can be lit" : told.dark ? `All pixels are dark${told.why ? ": " + told.why : ""}` : what;
  const lostBoxes = told.lost.map((box) => `Cannot be reached: ${box}`);
  $("says").hidden = open === "round" && told.in_round && !told.lost.length;
  lines($("says"), [...lostBoxes, ...(told.dark ? [] : told.says)]);
  if (what !== whatWas) { whatWas = what; $("says").classList.remove("whole"); }
  cutSays();
  speak(told.dark ? $("state").textContent : [...lostBoxes, ...told.says].slice(0, 4).join(". "));
  $("dark").setAttribute("aria-pressed", String(told.dark));
  $("light").disabled = Boolean(told.failed);
  showThing(told);
  showScreen(told);
  showFilm(told);
  showLit(told);
  forgetSaved();
  if (sought !== null && told.thing === sought) { sought = null; go("thing"); }
  else if (told.problem) sought = null;
  if (open === "report" && (!before || before.record !== told.record)) report();
}

function showThing(told) {
  $("name-of-thing").textContent = told.called;
  const pixels = `${told.pixels} pixel${told.pixels === 1 ? "" : "s"}`;
  const what = ["pixel", "pixels", "channel"].includes(told.kind) ? pixels : `${told.kind}, ${pixels}`;
  $("about-thing").textContent = what + (told.place ? `, on ${told.place}` : "") +
    (told.runs.length > 1 ? `: ${told.runs.join(", ")}` : "");
  pressed("pattern", told.dark ? "" : told.pattern);
  pressed("colour", told.coloured ? told.colour : "");
  $("colours").textContent = told.coloured ? "Colour" : `Colour (${told.pattern} has its own)`;
  $("speed").hidden = !told.moves;
  $("warns").textContent = told.warns;
  pressed("by", told.by);
  $("by").hidden = told.pattern !== "sweep";
  const walks = told.steps > 1 && !told.in_round && !told.dark;
  $("walk").hidden = !walks || open !== "thing";
  document.body.classList.toggle("walks", walks && open === "thing");
  $("run-row").hidden = !walks;
  $("run").textContent = told.runs_itself ? "Stop" : "Auto-step";
  $("run").setAttribute("aria-pressed", String(told.runs_itself));
  $("level").textContent = `${Math.round(told.level * 100)} %`;
  $("rate").textContent = told.pattern === "ramp"
    ? `${told.own_rate ? 8 : 1 / told.rate} s up and down` : `${told.rate} a second`;
}

function showLit(told) {
  const lit = told.dark ? [] : told.lit;
  const colour = new Map(lit.map(([run, name]) => [run, name]));
  for (const run of document.querySelectorAll("#drawing .run[data-run]")) {
    const name = colour.get(run.dataset.run);
    const chosen = told.runs.includes(run.dataset.run) && told.kind !== "show";
    const wanted = `run${name ? ` lit ${COLOURS[name] ? name : "other"}` : ""}${chosen ? " chosen" : ""}`;
    if (run.getAttribute("class") !== wanted) run.setAttribute("class", wanted);
  }
  $("drawing").classList.toggle("shows", lit.length > 0);
  $("drawing").classList.toggle("unlit", told.dark);
  const again = () => showLit(now);
  if (open === "thing") {
    drawPicture($("picture"), told.runs, told.in_round ? [] : lit);
    if (told.kind !== "show") loadClosely(told.runs, again);
  }
  if (open === "round") {
    const marks = told.in_round && !told.dark && told.screen ? told.screen.marks : [];
    const shown = [...new Set([...colour.keys(), ...marks.map(([run]) => run)])];
    drawPicture($("round-picture"), shown, lit, marks);
    loadClosely(shown, again);
  }
}

function showScreen(told) {
  const screen = told.screen;
  const over = !screen || screen.kind === "over";
  $("begin").hidden = !over;
  $("resume").hidden = over || told.in_round;
  $("note-form").hidden = over || !told.in_round || screen.kind === "wait";
  $("round-picture").hidden = over || !told.in_round || told.dark || !(told.lit.length || screen.marks.length);
  $("stands").textContent = !over && told.in_round && told.dark ? "All pixels are dark. “Lights on” shows it again." : (!over && told.in_round && told.go) || "";
  waitForAll(told);
  const unseen = told.dark && screen && ["look", "question"].includes(screen.kind);
  const key = JSON.stringify([screen && screen.number, told.in_round, unseen]);
  if (key === screenShown) { waits(told); return; }
  screenShown = key;
  naming = null;
  $("title-of-round").textContent = screen && screen.title ? screen.title : "Walk-through";
  $("at-box").textContent = screen && screen.where ? `At ${screen.where}` : "";
  $("told").classList.toggle("found", Boolean(screen && screen.kind === "deed"));
  lines($("told"), screen ? screen.told : []);
  lines($("asks"), screen ? screen.asks : []);
  const answers = over || !told.in_round ? [] : screen.keys.filter(([name]) => !unseen || LEAVES.includes(name));
  keys(answers.map(([name, words]) => [words, () => answer(screen, name), name]));
  waits(told);
  waitForAll(told);
  if (open === "round" && screen && screen.kind !== "wait") {
    window.scrollTo(0, 0);
    $("title-of-round").focus({ preventScroll: true });
  }
}

// A yes to a step of several looks counts once all of them were shown: until then its key says how long that takes.
function waitForAll(told) {
  const yes = document.querySelector("#keys .answer[data-name=yes]");
  if (!yes || !told.screen || !told.screen.timed) return;
  yes.disabled = told.left > 0;
  yes.querySelector("span").textContent = told.left > 0 ? `Yes, in ${told.left} s` : "Yes";
}

// ── the walk-through ────────────────────────────────────────────────────────────────────────────────────────────────

// Answers about what was not shown yet look like keys that are off; Patcher says why to whoever taps one.
function waits(told) {
  const screen = told.screen;
  if (!screen || naming !== null) return;
  const needs = new Map(screen.keys.map(([name], i) => [name, screen.needs[i] || 0]));
  for (const key of $("keys").children) {
    const early = !told.whole && (needs.get(key.dataset.name) || 0) > told.begun;
    if (early) key.setAttribute("aria-disabled", "true"); else key.removeAttribute("aria-disabled");
  }
}

// Answers that say nothing of what is lit: all that can be given while it is dark.
const LEAVES = ["stop", "skip", "back", "b"];

function keys(wanted) {
  $("keys").replaceChildren(...wanted.map(([words, act, name]) => {
    const key = Object.assign(document.createElement("button"), { className: "key" });
    key.append(Object.assign(document.createElement("span"), { textContent: words }));
    if (name === "mended" || words.length > 24) key.classList.add("first");
    if (name === "yes" || name === "no") key.classList.add("answer");
    key.dataset.name = name;
    const mark = pictured(words);
    if (mark) key.prepend(mark);
    if (sight(words)) key.classList.add("sighted");
    key.addEventListener("click", () => act(key));
    return key;
  }));
}

// A colour as a dot, a place as a cell of nine: quicker to find than words, with gloves and in the dark.
function pictured(words) {
  const mark = document.createElement("span");
  mark.setAttribute("aria-hidden", "true");
  if (COLOURS[words]) { mark.className = `dot ${words}`; return mark; }
  if (sight(words)) return drawnSight(words, mark);
  if (!/^((top|bottom|upper|lower) )?(left|right|middle|top|bottom)$/.test(words)) return null;
  return place(words, 3, mark);
}

function place(words, size, mark) {
  const last = size - 1;
  const row = /top|upper/.test(words) ? 0 : /bottom|lower/.test(words) ? last : 1;
  const column = /left/.test(words) ? 0 : /right/.test(words) ? last : 1;
  mark.className = size === 3 ? "place" : "place corners";
  for (let cell = 0; cell < size * size; cell++)
    mark.append(Object.assign(document.createElement("i"), { className: cell === row * size + column ? "here" : "" }));
  return mark;
}

// Few pixels on some runs: "eaves: red, gap, blue; gable: nothing", and on a grid "red and green top left".
const LIGHTS = /red|green|blue|white|another colour|gap/g;
const OF_RUN = /(^|; )[^:;]+: /g;

function sight(words) {
  const pixels = words.replace(OF_RUN, "$1");
  const rest = pixels.replace(LIGHTS, "").replace(/nothing|more than four|some flicker|top|bottom|left|right|and|[,; ]/g, "");
  return rest === "" && (pixels.match(LIGHTS) || []).length > 1;
}

function drawnSight(words, mark) {
  mark.className = "sight";
  for (const run of words.split("; ")) {
    const line = document.createElement("span");
    const name = run.match(/^[^:;]+(?=: )/);
    if (name) line.append(Object.assign(document.createElement("b"), { textContent: name[0] }));
    for (const part of run.replace(OF_RUN, "$1").split(", ")) {
      const pixels = part.match(LIGHTS) || [];
      if (!pixels.length) line.append(part);
      for (const pixel of pixels) {
        const kind = pixel === "gap" ? "gap" : `dot ${pixel === "another colour" ? "other" : pixel}`;
        line.append(Object.assign(document.createElement("i"), { className: kind }));
      }
      const corner = part.match(/(top|bottom) (left|right)/);
      if (corner) line.append(place(corner[0], 2, document.createElement("span")));
    }
    mark.append(line);
  }
  return mark;
}

function answer(screen, name, things = "") {
  if (name === "no" && screen.things.length > 1 && naming !== screen.number) {
    naming = screen.number;
    const wrong = new Set();
    const toggle = (thing) => (key) => {
      if (!wrong.delete(thing)) wrong.add(thing);
      key.setAttribute("aria-pressed", String(wrong.has(thing)));
      document.querySelector("#keys [data-name=these]").setAttribute("aria-disabled", String(!wrong.size));
      problem("");
    };
    lines($("told"), []);
    lines($("asks"), ["What is wrong? Tap all that are."]);
    keys([
      ...screen.things.map((thing) => [thing, toggle(thing), "thing"]),
      ["These are wrong", () => {
        if (wrong.size) answer(screen, "no", [...wrong].join(","));
        else problem("Nothing is chosen: tap what is wrong first, or “Can’t tell which”.");
      }, "these"],
      ["Can’t tell which", () => answer(screen, "no"), "which"],
      ["‹ Back to the step", () => { screenShown = ""; showScreen(now); }, "again"],
    ]);
    document.querySelector("#keys [data-name=these]").setAttribute("aria-disabled", "true");
    return;
  }
  send("answer", name, { number: screen.number, thing: things });
}

// ── progress ────────────────────────────────────────────────────────────────────────────────────────────────────────

async function report() {
  let told;
  try { told = await (await fetch("report")).json(); } catch { return; }
  if (told.problem) { problem(told.problem); return; }
  const { proved, failed, open: left } = told.in_all;
  $("practice").hidden = !told.practice;
  $("in-all").textContent = `${proved} proved, ${failed} failed, ${left} open`;
  $("boxes-standing").replaceChildren(...Object.entries(told.boxes).map(([box, of]) => {
    const row = document.createElement("tr");
    row.append(Object.assign(document.createElement("th"), { scope: "row", textContent: box }));
    for (const state of ["proved", "failed", "open"])
      row.append(Object.assign(document.createElement("td"), { textContent: of[state] }));
    return row;
  }));
  ticks("to_type", "typed", told.to_type);
  ticks("to_tell", "told", told.to_tell);
  for (const name of ["failed", "open", "unproved", "notes"]) lines($(name), told[name].length ? told[name] : ["none"]);
}

// What is ticked off stays in the list while the page is open, so that a wrong tick can be taken back.
const ticked = { typed: new Map(), told: new Map() };

function ticks(list, act, rows) {
  const left = new Set(rows.map((row) => row.thing));
  for (const row of rows) ticked[act].set(row.thing, row);
  if (!ticked[act].size) {
    lines($(list), ["none"]);
    return;
  }
  $(list).replaceChildren(...[...ticked[act].values()].map((row) => {
    const box = Object.assign(document.createElement("input"), { type: "checkbox", checked: !left.has(row.thing) });
    box.addEventListener("change", () => {
      if (!send(act, box.checked ? "yes" : "no", { thing: row.thing })) box.checked = !box.checked;
    });
    const says = document.createElement("span");
    says.append(
      Object.assign(document.createElement("b"), { textContent: row.name }),
      Object.assign(document.createElement("small"), { textContent: row.says }),
    );
    const label = document.createElement("label");
    label.append(box, says);
    const item = document.createElement("li");
    item.append(label);
    return item;
  }));
}

// ── taps ─────────────────────────────────────────────────────────────────────────────────────────────────────────

function go(section) {
  if (location.hash.slice(1) !== section) location.hash = section;
  else turn();
}

function turn() {
  const wanted = location.hash.slice(1);
  const from = open;
  open = SECTIONS.includes(wanted) ? wanted : "home";
  for (const section of SECTIONS) $(section).hidden = section !== open;
  $("says").hidden = open === "round" && Boolean(now && now.in_round);
  cutSays();
  if (from !== open) {
    problem(now ? now.failed : "");
    if (now && now.problem) send("turn");
    window.scrollTo(0, 0);
    const head = document.querySelector(`#${open} h1[tabindex]`);
    if (head) head.focus({ preventScroll: true });
  }
  if (open === "report") report();
  if (open === "film") howToFilm();
  if (now) { showThing(now); showLit(now); }
}

function find(name) {
  sought = name.trim();
  if (!sought) return;
  send("find", sought);
  if (socket && now && now.thing === sought && !now.in_round) { sought = null; go("thing"); }
}

// A box by its name; where a prop has the same one, with its kind.
function boxNamed(name) {
  return $("drawing").dataset.two.split(" ").includes(name) ? `controller.${name}` : name;
}

// The run or box that was meant by a tap: the nearest one within a gloved finger's width.
function near(x, y) {
  for (let ring = 0; ring <= 28; ring += 4) {
    const points = ring === 0 ? 1 : 12;
    for (let i = 0; i < points; i++) {
      const turned = (i / points) * 2 * Math.PI;
      const met = document.elementFromPoint(x + ring * Math.cos(turned), y + ring * Math.sin(turned));
      const thing = met && met.closest("#drawing [data-run], #drawing [data-of], #drawing [data-box]");
      if (thing) return thing.dataset.run || thing.dataset.of || boxNamed(thing.dataset.box);
    }
  }
  return null;
}

// What a note is about: the thing on its page; in the round the one thing that is looked at, or the box.
function about(where) {
  if (where === "thing") return now.thing;
  if (where !== "look" || !now.screen) return "everything";
  return now.screen.things.length === 1 ? now.screen.things[0] : now.screen.where || "everything";
}

// "Saved." stands where the note was saved, and not where the next thing's note goes.
function forgetSaved() {
  for (const form of document.querySelectorAll(".note")) {
    const words = form.querySelector("input");
    if (words.placeholder && words.dataset.of !== about(form.dataset.about)) words.placeholder = "";
  }
}

let holding = null;
function hold() {
  if (holding) return;
  $("hold").classList.add("held");
  send("hold");
  holding = setInterval(() => send("hold"), AGAIN);
}

function letGo() {
  if (!holding) return;
  clearInterval(holding);
  holding = null;
  $("hold").classList.remove("held");
  if (socket) send("let go");
}

document.addEventListener("click", (event) => {
  const key = event.target.closest("button");
  if (key) {
    const { do: act, find: name, pattern, colour, by } = key.dataset;
    if (act) { send(act); if (act === "round") go("round"); }
    if (name) find(name);
    if (pattern) send("pattern", pattern);
    if (colour) send("colour", colour);
    if (by) send("by", by);
  } else if (event.target.closest("#round-picture") && now && now.screen && now.screen.points) {
    const pixel = pixelNear(now.screen.points, event.offsetX, event.offsetY);
    if (pixel !== null) send("answer", "point", { number: now.screen.number, thing: `${now.screen.points}/${pixel + 1}` });
  } else if (event.target.closest("#drawing")) {
    const run = near(event.clientX, event.clientY);
    if (run) find(run);
  }
});
$("more").addEventListener("click", () => { $("says").classList.toggle("whole"); cutSays(); });
$("again").addEventListener("click", () => send("round", "again"));
$("run").addEventListener("click", () => send(now && now.runs_itself ? "stop" : "run"));
$("find").addEventListener("submit", (event) => { event.preventDefault(); find($("name").value); });
for (const form of document.querySelectorAll(".note")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const words = form.querySelector("input");
    if (!words.value.trim() || !now) return;
    if (!send("note", words.value, { thing: about(form.dataset.about) })) return;
    words.value = "";
    words.placeholder = "Saved.";
    words.dataset.of = about(form.dataset.about);
  });
}

$("hold").addEventListener("pointerdown", (event) => { if (event.button === 0) hold(); });
for (const over of ["pointerup", "pointercancel", "blur"]) window.addEventListener(over, letGo);
$("hold").addEventListener("keydown", (event) => {
  if (event.key === " " || event.key === "Enter") { event.preventDefault(); hold(); }
});
$("hold").addEventListener("keyup", letGo);
$("hold").addEventListener("contextmenu", (event) => event.preventDefault());

document.addEventListener("keydown", (event) => {
  if (event.target.closest("input") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Escape" || event.key === "d") send("dark");
  else if (event.key === "ArrowRight") send("on");
  else if (event.key === "ArrowLeft") send("back");
  else return;
  event.preventDefault();
});
window.addEventListener("hashchange", turn);
window.addEventListener("resize", () => { cutSays(); if (now) showLit(now); });

function crop() {
  const svg = document.querySelector("#drawing svg");
  if (!svg) return;
  const box = svg.getBBox();
  if (!box.width) return;
  svg.setAttribute("viewBox", `${box.x - 1} ${box.y - 1} ${box.width + 2} ${box.height + 2}`);
  svg.removeAttribute("width");
  svg.removeAttribute("height");
}

crop();
beginFilm();
turn();
stayAwake();
connect();
