// The pitch field: the target's line across it, the string as a mark at its height,
// the word in the half the pitch has to move to.

import { heightOfCents, NEAR_TICK, TICKS } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { BELLY_PX, Pulse } from "./pulse.js";
import { shape } from "./shapes.js";
import { beats, signed, uncertainty } from "./words.js";

const WORD_WIDTH_SHARE = 0.9;
const WORD_HEIGHT_SHARE = 0.8; // room for what hangs below its line
const LARGEST_WORD_PX = 300;
/** What the number under the field counts. */
export const BEATS = 
  "beats a second: how fast your string and its target swell and fade together. Slower is nearer; still means in.";

export class Field {
  #noteName;

  /** `noteName` says how a note is named here. */
  constructor(noteName) {
    this.#noteName = noteName;
    this.word = el("p", { className: "word", id: "word" });
    this.hint = el("p", { className: "hint" });
    this.aside = el("p", { className: "aside" });
    this.note = el("span", { className: "target-note" });
    this.which = el("span", { className: "target-string" });
    this.shape = shape("lens");
    this.mark = el("div", { className: "mark", id: "mark", "aria-hidden": "true" }, this.shape.node);
    this.node = el(
      "div",
      { className: "field" },
      ...TICKS.map((cents) => this.#tick(cents)),
      el("div", { className: "target-line" }),
      el("p", { className: "target" }, this.note, this.which),
      this.mark,
      this.word,
      this.hint,
      this.aside,
    );
    this.beats = el("strong", { id: "beats" });
    this.cents = el("strong", { id: "cents" });
    this.error = el("span", { id: "uncertainty" });
    this.numbers = el(
      "div",
      { className: "numbers" },
      el("p", { title: BEATS }, this.beats, el("span", {}, "beats a second")),
      el("p", {}, this.cents, el("span", {}, this.error, " cents")),
    );
    this.pulse = new Pulse((size, light) => {
      this.shape.path.style.setProperty("transform", `scaleY(${size.toFixed(3)})`);
      this.shape.path.style.setProperty("opacity", light.toFixed(3));
    });
    this.node.style.setProperty("--belly", `${BELLY_PX * 2}px`);
    new ResizeObserver(() => {
      this.#fitWord();
      this.#fitMark();
    }).observe(this.node);
    this.showNothing("");
  }

  /** Show a string's reading against its target. */
  showString(reading) {
    const word = reading.verdict ?? "";
    this.#place(reading.string_cents, word);
    this.#pulse(word === "in" ? 0 : reading.beats_hz);
    this.#setWord(word);
    say(this.hint, "");
    this.#setTarget(reading.target, `string ${reading.string}`);
    this.#number(reading.beats_hz, reading.string_cents, reading.uncertainty_cents);
  }

  /** Show a pitch that has no string to be tuned: the nearest note is its line. */
  showPitch(reading, hint) {
    const side = reading.cents < 0 ? "tighten" : "slacken";
    this.#place(reading.cents, side);
    this.#pulse(reading.beats_hz ?? 0);
    this.#setWord("");
    say(this.hint, hint);
    this.#setTarget(reading.note, "nearest note");
    this.#number(reading.beats_hz, reading.cents, reading.uncertainty_cents);
  }

  /** Nothing sounds: an empty line, one sentence, and maybe one more in small print. */
  showNothing(hint, aside = "") {
    mark(this.node, "verdict", null);
    mark(this.node, "state", "silent");
    say(this.aside, aside);
    this.#pulse(0);
    this.#setWord("");
    say(this.hint, hint);
    say(this.note, "");
    say(this.which, "");
  }

  #place(cents, verdict) {
    const height = verdict === "in" ? 0 : heightOfCents(cents);
    mark(this.node, "state", "sounding");
    say(this.aside, "");
    mark(this.node, "verdict", verdict || null);
    this.shape.set(verdict);
    this.mark.style.setProperty("--height", height.toFixed(4));
  }

  #pulse(beatsHz) {
    mark(this.mark, "pulseHz", beatsHz.toFixed(2));
    this.pulse.set(beatsHz);
  }

  #number(beatsHz, cents, sigma) {
    say(this.beats, beatsHz === null ? "–" : beats(beatsHz));
    say(this.cents, signed(cents));
    say(this.error, uncertainty(sigma));
  }

  #setTarget(note, which) {
    const name = this.#noteName(note);
    if (this.note.textContent === name && this.which.textContent === which) return;
    this.note.textContent = name;
    this.which.textContent = which;
    this.#fitMark();
  }

  // The mark begins where the target's name ends.
  #fitMark() {
    this.node.style.setProperty("--name", `${this.note.parentNode.offsetWidth}px`);
  }

  #setWord(word) {
    if (this.word.textContent === word) return;
    this.word.textContent = word;
    this.#fitWord();
  }

  // As large as the field's width allows, whatever font the phone has.
  #fitWord() {
    const room = this.node.clientWidth * WORD_WIDTH_SHARE;
    if (!room || !this.word.textContent) return;
    this.word.style.setProperty("font-size", "100px");
    const size = Math.min((100 * room) / this.word.scrollWidth, LARGEST_WORD_PX);
    const tallest = this.word.clientHeight * WORD_HEIGHT_SHARE;
    this.word.style.setProperty("font-size", `${Math.floor(Math.min(size, tallest))}px`);
  }

  #tick(cents) {
    const side = cents > 0 ? "above" : "below";
    const tick = el("span", { className: `tick ${side}${Math.abs(cents) === NEAR_TICK ? " near" : ""}`, "aria-hidden": "true" }, signed(cents, 0));
    tick.style.setProperty("--height", heightOfCents(cents).toFixed(4));
    return tick;
  }
}
