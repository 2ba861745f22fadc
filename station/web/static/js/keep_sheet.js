// The drummer's word that a drum is right: it is kept by name, with the room it is in.

import { drums, keepDrum } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { hertz } from "./words.js";

export class KeepSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.known = el("datalist", { id: "kept-drums" });
    this.name = el("input", { name: "drum", maxLength: 40, autocomplete: "off", placeholder: "floor tom" });
    this.name.setAttribute("list", "kept-drums");
    this.place = el("input", { name: "place", maxLength: 40, autocomplete: "off", placeholder: "cellar, new heads" });
    this.reference = el("p", { className: "soft" });
    this.fault = faultLine();
    const form = el(
      "form",
      { noValidate: true, onsubmit: (event) => this.#submit(event) },
      el("label", {}, el("span", {}, "drum"), this.name),
      el("label", {}, el("span", {}, "where, or what is new"), this.place),
      this.known,
      this.reference,
      this.fault,
      el("button", { className: "main stick" }, "keep it"),
    );
    this.sheet = new Sheet("Keep this drum", [form]);
  }

  async open(name) {
    this.name.value = name;
    say(this.fault, "");
    say(this.reference, `With the reference, ${hertz(this.#state.room.reference.a4_hz)} Hz, and the time. A state kept under this name before is replaced.`);
    this.sheet.open();
    try {
      const told = await drums();
      this.known.replaceChildren(...told.drums.map((each) => el("option", { value: each.name })));
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  async #submit(event) {
    event.preventDefault();
    const { me } = this.#state;
    const name = this.name.value.trim();
    if (!me) return;
    if (!name) {
      say(this.fault, "type the drum's name, such as floor tom");
      return;
    }
    const what = { player: me.id, name };
    if (this.place.value.trim()) what.place = this.place.value.trim();
    try {
      if (await withCode((code) => keepDrum(what, code))) this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
