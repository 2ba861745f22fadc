// The tone's pitch: up is up. Two buttons above the note raise it, two below lower it;
// its owner's strings stand beside as notes to be taken with their own targets.

import { el, say } from "./dom.js";
import { HIGHEST, hzOf, LOWEST, midiOf, noteOf } from "./tone_notes.js";
import { hertz, signed } from "./words.js";

const STEPS = { "octave up": 12, "semitone up": 1, "semitone down": -1, "octave down": -12 };

export class TonePitch {
  /** Another pitch was chosen. */
  onChange = () => {};
  note = "A4";
  #string = null; // the number of the string whose target it is
  #state;

  constructor(state) {
    this.#state = state;
    this.name = el("strong", { className: "tone-note" });
    this.told = el("span", { className: "tone-hz" });
    this.buttons = Object.entries(STEPS).map(([word, step]) =>
      el("button", { type: "button", onclick: () => this.#step(step) }, word));
    const [octaveUp, up, down, octaveDown] = this.buttons;
    this.strings = el("div", { className: "tone-strings", role: "group", "aria-label": "notes to take" });
    this.node = el(
      "div",
      { className: "tone-pitch" },
      el("div", { className: "tone-steps" }, octaveUp, up),
      el("p", { className: "tone-now", role: "status" }, this.name, this.told),
      el("div", { className: "tone-steps" }, octaveDown, down),
      this.strings,
    );
  }

  get hz() {
    const string = this.#ownString;
    return string ? string.target_hz : hzOf(midiOf(this.note), this.#state.room.reference.a4_hz);
  }

  get #ownString() {
    return this.#state.me?.strings.find((each) => each.string === this.#string && each.note === this.note) ?? null;
  }

  update() {
    const string = this.#ownString;
    say(this.name, this.#state.noteName(this.note));
    say(this.told, [`${hertz(this.hz)} Hz`, ...(string ? [`string ${string.string}`, ...this.#offset(string)] : [])].join(", "));
    const midi = midiOf(this.note);
    Object.values(STEPS).forEach((step, i) => {
      this.buttons[i].disabled = midi + step < LOWEST || midi + step > HIGHEST;
    });
    this.#offerStrings();
  }

  #offset({ offset_cents: cents }) {
    return cents ? [`${signed(cents)} cents from equal`] : [];
  }

  #offerStrings() {
    const strings = this.#state.me?.strings ?? [];
    const taken = `${this.#string}${this.note}`;
    const key = [taken, this.#state.noteName("B4"), ...strings.map((each) => `${each.string}${each.note}`)].join();
    if (this.strings.dataset.drawn === key) return;
    this.strings.dataset.drawn = key;
    const choices = [...strings.map((each) => [each.note, each.string]), ["A4", null]];
    this.strings.replaceChildren(
      ...choices.map(([note, string]) =>
        el(
          "button",
          { type: "button", "aria-pressed": String(note === this.note && string === this.#string), onclick: () => this.#take(note, string) },
          this.#state.noteName(note),
        )),
    );
  }

  #step(semitones) {
    this.#take(noteOf(midiOf(this.note) + semitones), null);
  }

  #take(note, string) {
    this.note = note;
    this.#string = string;
    this.onChange();
  }
}
