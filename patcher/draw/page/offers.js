// Proposals of which run hangs on which port: asked for, shown as ghost leads in the picture, taken or left.

const $ = (id) => document.getElementById(id);

function make(tag, properties = {}, ...inside) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...inside);
  return made;
}

export class Offers {
  constructor(page) {
    this.page = page;
    this.told = { number: -1, stage: "none", says: [], list: [] };
    this.shown = 0;
    this.write();
  }

  show(told) {
    this.told = told;
    this.shown = told.list[0]?.number ?? 0;
    this.write();
  }

  // Which proposal stands in the picture; 0: none.
  look(number) {
    this.shown = this.shown === number ? 0 : number;
    this.write();
  }

  write() {
    const { stage, says, list } = this.told, ask = (message) => this.page.ask(message);
    const key = (text, onclick, pressed = null) => {
      const made = make("button", { className: "key", type: "button", textContent: text, onclick });
      if (pressed !== null) made.setAttribute("aria-pressed", String(pressed));
      return made;
    };
    const made = [];
    if (stage === "none") {
      const afresh = make("input", { type: "checkbox", id: "afresh", checked: this.afresh ?? false, onchange: () => { this.afresh = afresh.checked; } });
      made.push(make("p", { className: "minor", textContent: "Patcher proposes which run hangs on which port. Runs that hang stay as they are." }),
        make("label", {}, make("span", { textContent: "Decide all anew" }), afresh),
        make("div", { className: "row" }, key("Propose", () => ask({ do: "propose", thing: afresh.checked ? "afresh" : "" }))));
    }
    if (stage === "searching") made.push(make("p", { textContent: "Searching, for 20 seconds at most. You can go on; a change of the show ends it." }));
    for (const one of list)
      made.push(make("div", { className: "offer" }, make("h3", { textContent: `${one.number}. ${one.title}` }),
        ...one.says.map((text) => make("p", { textContent: text })),
        make("div", { className: "row" }, key("Show", () => this.look(one.number), this.shown === one.number), key("Take", () => ask({ do: "take", thing: String(one.number) })))));
    made.push(...says.map((text) => make("p", { textContent: text })));
    if (stage !== "none") made.push(make("div", { className: "row" }, key(list.length ? "Leave all" : stage === "searching" ? "Stop" : "Close", () => ask({ do: "leave" }))));
    $("offers").replaceChildren(...made);
    this.page.scene.ghosts(list.find((one) => one.number === this.shown) ?? null);
  }
}
