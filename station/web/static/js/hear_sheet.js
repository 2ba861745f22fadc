// Which instrument shall be heard? Players of fixed pitch first; or any line, with a name.

import { startMeasuring } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";

export class HearSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.choices = el("div", { className: "choices" });
    this.line = el("select", { name: "line" });
    this.name = el("input", { name: "instrument", autocomplete: "off", maxLength: 40, placeholder: "Oda's harmonica" });
    this.fault = faultLine();
    const other = el(
      "form",
      { className: "other-line", noValidate: true, onsubmit: (event) => this.#submit(event) },
      el("h3", {}, "Another instrument"),
      el("div", { className: "line-and-name" },
        el("label", {}, el("span", {}, "line"), this.line),
        el("label", {}, el("span", {}, "whose, and what it is"), this.name)),
      el("button", {}, "hear it"),
    );
    this.sheet = new Sheet("Which instrument?", [this.choices, other], [this.fault]);
  }

  open() {
    const { players, lines } = this.#state.room;
    say(this.fault, "");
    this.name.value = "";
    const fixed = players.filter((each) => each.kind === "fixed");
    this.choices.replaceChildren(...fixed.map((player) => this.#choice(player)));
    this.line.replaceChildren(
      ...lines.map(({ line }) => {
        const names = players.filter((each) => each.line === line).map((each) => each.name);
        return el("option", { value: String(line) }, names.length ? `${line}, ${names.join(", ")}` : String(line));
      }),
    );
    this.sheet.open();
  }

  #choice(player) {
    return el(
      "button",
      { type: "button", onclick: () => this.#start({ player: player.id }) },
      el("strong", {}, player.name),
      el("span", { className: "soft" }, `${player.instrument_label}, line ${player.line}`),
    );
  }

  #submit(event) {
    event.preventDefault();
    const name = this.name.value.trim();
    if (!name) {
      say(this.fault, "type whose instrument it is, such as Oda's harmonica");
      return;
    }
    this.#start({ line: Number(this.line.value), name });
  }

  async #start(what) {
    say(this.fault, "");
    try {
      if (await withCode((code) => startMeasuring(what, code))) this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
