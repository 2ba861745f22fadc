// Where a string's saddle belongs: open string, or its 12th harmonic, against the 12th fret.

import { closeBench, dropSaddleNote, openSaddle } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { Ladder } from "./ladder.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { signed, uncertainty } from "./words.js";

const AGAINST = { open: "open string", harmonic: "harmonic" };
const ASKED = {
  open: "play it open, let it ring and stop it",
  harmonic: "touch it over fret 12, let it ring and stop it",
  pressed: "press it at fret 12 as you play, let it ring and stop it",
};

function words(saddle) {
  if (saddle.mm === null) return "scale length?";
  return saddle.direction === "in" ? "leave the saddle" : `saddle ${saddle.direction}`;
}

export class SaddleSheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.string = el("select", { name: "string", onchange: () => this.#open() });
    this.against = el("select", { name: "against", onchange: () => this.#open() }, ...Object.entries(AGAINST).map(([value, text]) => el("option", { value }, text)));
    this.asked = el("p", { className: "saddle-asked", role: "status" });
    this.ladder = new Ladder((note) => state.noteName(note));
    this.ladder.node.classList.add("ladder-small");
    this.word = el("p", { className: "bench-word", id: "saddle-word" });
    this.more = el("p", { className: "bench-more" });
    this.small = el("p", { className: "soft bench-small" });
    this.caution = el("p", { className: "bench-missing bench-small" });
    this.fault = faultLine();
    this.asking = new Asking(this.fault, () => this.#update());
    this.drop = el("button", { type: "button", onclick: () => this.#change((me, code) => dropSaddleNote(me.id, state.by, code)) }, "drop the last");
    this.anew = el("button", { type: "button", className: "main", onclick: () => this.#open() }, "anew");
    const field = (text, control) => el("label", {}, el("span", {}, text), control);
    this.sheet = new Sheet(
      "Saddle",
      [
        el("form", { className: "gauge-two", onsubmit: (event) => event.preventDefault() }, field("string", this.string), field("12th fret against", this.against)),
        this.asked,
        this.ladder.node,
        el("div", { className: "bench-words saddle-words" }, this.word, this.more, this.small, this.caution),
      ],
      [this.fault, el("div", { className: "buttons" }, this.drop, this.anew)],
    );
    this.sheet.node.classList.add("bench-sheet");
    this.sheet.onClose = () => this.#close();
    state.onChange(() => this.sheet.isOpen && this.#update());
  }

  open() {
    const { me } = this.#state;
    if (!me) return;
    const chosen = this.string.value;
    this.string.replaceChildren(...me.strings.map((each) => el("option", { value: String(each.string) }, `${each.string}: ${this.#state.noteName(each.note)}`)));
    if (me.strings.some((each) => String(each.string) === chosen)) this.string.value = chosen;
    this.sheet.open();
    this.#open();
  }

  get #saddle() {
    return this.#state.opened(this.#state.me?.id)?.saddle ?? null;
  }

  #update() {
    const saddle = this.#saddle;
    const right = saddle?.right ?? 0;
    const pressed = saddle?.pressed ?? 0;
    say(this.asked, saddle ? ASKED[saddle.next] : this.asking.busy ? "" : "not listening");
    this.drop.disabled = right + pressed === 0;
    const told = saddle?.cents ?? null;
    const verdict = !saddle || told === null ? null : saddle.direction === "in" ? "in" : told > 0 ? "slacken" : "tighten";
    this.ladder.show([
      { string: right ? `\u00d7${right}` : "\u2013", note: saddle?.against === "harmonic" ? "harmonic" : "open", cents: right ? 0 : null, uncertainty_cents: null, verdict: "in" },
      { string: pressed ? `\u00d7${pressed}` : "\u2013", note: "fret 12", cents: told, uncertainty_cents: saddle?.uncertainty_cents ?? null, verdict },
    ]);
    mark(this.ladder.node, "state", right ? "heard" : "waiting");
    mark(this.word, "verdict", verdict);
    say(this.word, told === null ? "" : words(saddle));
    say(this.more, told === null ? "" : this.#figures(saddle));
    say(this.small, this.#smallWords(saddle));
    say(this.caution, told !== null && saddle.direction !== "in" ? saddle.caution : "");
  }

  #figures(saddle) {
    const side = saddle.cents > 0 ? "sharp" : "flat";
    const heard = `fret 12 is ${Math.abs(saddle.cents).toFixed(1)} cents ${uncertainty(saddle.uncertainty_cents)} ${side}`;
    if (saddle.mm === null) return heard;
    const far = saddle.direction === "in" ? `${signed(saddle.mm)} mm` : `by about ${Math.abs(saddle.mm).toFixed(1)} mm`;
    return `${far} \u00b1${Math.max(saddle.uncertainty_mm, 0.1).toFixed(1)}: ${heard}`;
  }

  #smallWords(saddle) {
    if (!saddle) return "";
    if (saddle.problem) return saddle.problem;
    if (saddle.beyond) return "That is more than saddles move: look at string, nut and frets first.";
    if (saddle.cents !== null && saddle.mm === null) return "Say the scale length under \u201cstrings as wire\u201d, and keep it.";
    const more = saddle.wanted - saddle.pressed;
    if (more > 0) return `${more} more ${more === 1 ? "press" : "presses"}: every press stretches the string differently.`;
    return `Scale length ${saddle.scale_mm?.toFixed(0)} mm.`;
  }

  #open() {
    const what = { string: Number(this.string.value), against: this.against.value, by: this.#state.by };
    return this.#change((me, code) => openSaddle(me.id, what, code));
  }

  async #change(ask) {
    const { me } = this.#state;
    if (me) await this.asking.ask((code) => ask(me, code), (told) => told && this.#state.setBenchNow(me.id, told));
  }

  #close() {
    const { me } = this.#state;
    if (me && this.#saddle) withCode((code) => closeBench(me.id, this.#state.by, code)).catch(() => {});
  }
}
