// The drums that are kept: their good state, and what must be turned to get back to it.

import { drums, forgetDrum, headStep, wayBack } from "./api.js";
import { el, mark, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { clock, hertz, signed } from "./words.js";

function when(iso) {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? "" : `${at.toLocaleDateString()} ${clock(iso)}`;
}

export class DrumsSheet {
  #state;
  #sure = "";

  constructor(state) {
    this.#state = state;
    this.list = el("ul", { className: "kept" });
    this.fault = faultLine();
    const file = el("a", { className: "button", href: "/api/v1/drums.json", download: "drums.json" }, "as a file");
    this.sheet = new Sheet("My drums", [this.list], [this.fault, file]);
    this.back = new BackSheet(state);
  }

  async open() {
    say(this.fault, "");
    this.sheet.open();
    await this.#load();
  }

  async #load() {
    try {
      this.#draw((await drums()).drums);
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #draw(kept) {
    if (kept.length === 0) {
      this.list.replaceChildren(el("li", { className: "soft" }, "Nothing kept yet. When a drum is right, keep it: it can be brought back at the next venue."));
      return;
    }
    this.list.replaceChildren(...kept.map((each) => this.#row(each)));
  }

  #row(drum) {
    const { good } = drum;
    const name = (note) => this.#state.noteName(note);
    const pitch = drum.note ? `${name(drum.note)} ${signed(drum.cents, 0)} cents, ${drum.hz.toFixed(1)} Hz` : "no pitch yet";
    const size = drum.diameter_in ? `${drum.diameter_in} in` : "";
    const state = good
      ? `${when(good.at)}, at ${hertz(good.a4_hz)} Hz${good.place ? `, ${good.place}` : ""}`
      : "no good state kept";
    const head = good?.head ? `${good.head.lugs} lugs, even to ${good.head.evenness_cents.toFixed(0)} cents` : "";
    const back = el("button", { type: "button", className: "stick", onclick: () => this.back.open(drum) }, "way back");
    back.disabled = !good;
    const forget = el("button", { type: "button", className: "stick forget", onclick: () => this.#forget(drum.name, forget) }, "forget");
    return el(
      "li",
      {},
      el("h3", {}, drum.name),
      el("p", {}, [pitch, size].filter(Boolean).join(" · ")),
      el("p", { className: "soft" }, [state, head].filter(Boolean).join(" · ")),
      el("div", { className: "row-buttons" }, back, forget),
    );
  }

  // Twice: sticks slip.
  async #forget(name, button) {
    if (this.#sure !== name) {
      this.#sure = name;
      say(button, "really forget");
      return;
    }
    this.#sure = "";
    try {
      const told = await withCode((code) => forgetDrum({ name, by: this.#state.by }, code));
      if (told) this.#draw(told.drums);
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}

class BackSheet {
  #state;
  #drum = null;

  constructor(state) {
    this.#state = state;
    this.word = el("p", { className: "back-word" });
    this.says = el("ul", { className: "both-advice" });
    this.lugs = el("ul", { className: "back-lugs" });
    this.fault = faultLine();
    this.turned = el("button", { type: "button", className: "main stick", onclick: () => this.#turned() }, "turned so: tap the round");
    this.again = el("button", { type: "button", className: "stick", onclick: () => this.#load() }, "look again");
    this.sheet = new Sheet("Way back", [this.word, this.says, this.lugs], [this.fault, this.again, this.turned]);
  }

  open(drum) {
    this.#drum = drum;
    this.sheet.setTitle(`${drum.name}: way back`);
    this.sheet.open();
    this.#load();
  }

  async #load() {
    say(this.fault, "");
    this.#draw(null);
    try {
      this.#draw(await wayBack(this.#state.me.id, this.#drum.name));
    } catch (error) {
      say(this.fault, `${error.message}. For lug by lug: go round its head first.`);
    }
  }

  #draw(back) {
    mark(this.word, "verdict", back?.verdict ?? null);
    const how = back?.how ? ` every lug by ${back.how}` : "";
    say(this.word, back ? `${back.verdict}${how}` : "");
    this.says.replaceChildren(...(back?.says ?? []).map((each) => el("li", {}, each)));
    const turnable = (back?.lugs ?? []).some((each) => each.turns !== null);
    this.turned.hidden = !turnable || !this.#state.room.heads?.passes[this.#state.me?.id];
    this.lugs.replaceChildren(
      ...(back?.lugs ?? []).map((each) => {
        const row = el(
          "li",
          {},
          el("strong", {}, String(each.lug)),
          el("span", { className: "back-verdict" }, each.verdict),
          el("span", {}, each.verdict === "in" ? "" : (each.how ?? "")),
          el("span", { className: "soft" }, `${signed(each.cents, 0)} cents`),
        );
        mark(row, "verdict", each.verdict);
        return row;
      }),
    );
  }

  async #turned() {
    const { me } = this.#state;
    try {
      const told = await withCode((code) => headStep(me.id, "turned-back", { drum: this.#drum.name, by: this.#state.by }, code));
      if (!told) return;
      this.#state.setHeadNow(me.id, told);
      this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
