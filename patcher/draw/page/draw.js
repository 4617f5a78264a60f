// The page: it shows what Patcher reads of the show file, and sends acts. The file is the truth; nothing is kept here
// but what is chosen and what a click does.
import { Scene } from "./scene.js";
import { Tools } from "./tools.js";
import { Panel } from "./panel.js";
import { Offers } from "./offers.js";

const $ = (id) => document.getElementById(id);
const BEAT = 1000, SILENT = 12000;   // milliseconds

export const page = {
  view: null, chosen: "", schema: null, told: {},
  choose(name) {
    page.chosen = name;
    page.scene.choose(name);
    page.panel.show();
    document.querySelector("aside").scrollTo(0, 0);
  },
  // Runs that are to be one prop: Shift and a click put one in or take it out.
  gathered: new Set(),
  gather(name) {
    if (!page.view.runs[name]) return;
    if (!page.gathered.size && page.view.runs[page.chosen] && page.chosen !== name) page.gathered.add(page.chosen);
    if (!page.gathered.delete(name)) page.gathered.add(name);
    page.scene.choose(page.chosen);
    page.hint(page.gathered.size ? `Together: ${[...page.gathered].join(", ")}. “New prop” makes them one thing, Esc lets them go.` : "");
  },
  letGo() {
    page.gathered.clear();
    page.scene.choose(page.chosen);
  },
  hint(text) { $("hint").textContent = text; },
  act: (...acts) => ask({ do: "act", act: acts.length === 1 ? acts[0] : acts }),
  ask: (message) => ask(message),
  problem,
};

let socket = null, number = 0, heard = 0, retry = 300;
const waiting = new Map();

function problem(text) {
  $("problem").hidden = !text;
  $("problem").textContent = text;
}

// An act's answer: true where it was done.
function ask(message) {
  if (!socket || socket.readyState !== WebSocket.OPEN) {
    problem("Not done: no connection to Patcher.");
    return Promise.resolve(false);
  }
  const id = ++number;
  socket.send(JSON.stringify({ ...message, id }));
  return new Promise((resolve) => waiting.set(id, { resolve, quiet: message.do === "here" }));
}

function connect() {
  const own = new WebSocket(`ws://${location.host}/state`);
  socket = own;
  heard = Date.now();
  own.onopen = () => { retry = 300; heard = Date.now(); };
  own.onmessage = (event) => {
    heard = Date.now();
    if (socket !== own) return;
    document.body.classList.remove("stale");
    if ($("link").textContent !== "Connected") $("link").textContent = "Connected";
    const told = JSON.parse(event.data);
    if ("answers" in told) answered(told); else show(told);
  };
  own.onclose = () => { if (socket === own) lost(); };
}

function lost() {
  const own = socket;
  socket = null;
  if (own) { own.onclose = null; own.close(); }
  for (const { resolve } of waiting.values()) resolve(false);
  waiting.clear();
  document.body.classList.add("stale");
  $("link").textContent = "No connection. Trying again …";
  setTimeout(async () => {
    const answer = await fetch("here").catch(() => null);
    if (answer?.status === 403) $("link").textContent = "Patcher was started again. Open the new address in its terminal.";
    else if (answer) { connect(); return; }
    lost();
  }, retry);
  retry = Math.min(3000, retry * 1.5);
}

function answered(told) {
  const asked = waiting.get(told.answers);
  waiting.delete(told.answers);
  if (!asked) return;
  if (!asked.quiet) problem(told.problem);
  asked.resolve(!told.problem);
}

function show(told) {
  page.told = told;
  $("undo").disabled = !told.undo;
  $("redo").disabled = !told.redo;
  $("dark").disabled = !told.lit;
  $("news").hidden = !(told.news || told.failed || told.lost.length);
  $("news").textContent = [told.news, told.failed, ...told.lost].filter(Boolean).join(" ");
  if (told.view) {
    page.view = whole(told.view, page.view);
    facts(page.view);
    page.scene.show(page.view);
    if (page.chosen && !page.panel.find(page.chosen)) page.chosen = "";
    page.scene.choose(page.chosen);
  }
  page.panel.show();
  if (told.offers) page.offers.show(told.offers);
}

// Of runs that are where they were no places are told again.
function whole(view, before) {
  for (const [name, run] of Object.entries(view.runs ?? {}))
    if (!run.at) run.at = before?.runs?.[name]?.at ?? [];
  return view;
}

function facts(view) {
  if (!view.readable) { $("facts").textContent = "The file cannot be read as a show."; return; }
  $("title").textContent = view.title;
  document.title = `${view.title} · Patcher`;
  const wrong = view.findings.filter((one) => one.severity === "error").length;
  const count = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
  const typed = view.patch.type.length;
  const patch = !view.patch.universes ? "no addresses yet"
    : `${count(view.patch.universes, "universe")}; ${typed ? `settings of ${typed} ${typed === 1 ? "box" : "boxes"} to type in` : "nothing to type in"}`;
  $("facts").title = view.patch.type.join(", ");
  $("facts").textContent = `${count(view.pixels, "pixel")}; ${patch}; ${wrong ? count(wrong, "error") : "no error"}`;
}

setInterval(() => {
  if (!socket) return;
  if (Date.now() - heard > SILENT) lost(); else ask({ do: "here" });
}, BEAT);

$("undo").onclick = () => ask({ do: "undo" });
$("redo").onclick = () => ask({ do: "redo" });
$("all").onclick = () => page.scene.fit(page.view);
$("dark").onclick = () => ask({ do: "dark" });
window.addEventListener("keydown", (event) => {
  const typing = /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName);
  if (event.key === "Escape" && !$("ask").open) { page.letGo(); page.tools.leave(); }
  if (event.key === "0" && !typing) page.scene.fit(page.view);
  if (typing || !(event.ctrlKey || event.metaKey)) return;
  const key = event.key.toLowerCase();
  if (key === "z") { ask({ do: event.shiftKey ? "redo" : "undo" }); event.preventDefault(); }
  if (key === "y") { ask({ do: "redo" }); event.preventDefault(); }
});

page.scene = new Scene(page);
page.tools = new Tools(page);
page.panel = new Panel(page);
page.offers = new Offers(page);
page.schema = await (await fetch("schema.json")).json();
connect();
