// The pitch field: the target's line across it, the string as a mark at its height,
// the word in the half the pitch has to move to.

import { heightOfCents, TICKS } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { BELLY_PX, Pulse } from "./pulse.js";
import { shape } from "./shapes.js";
import { beats, pretty, signed, uncertainty } from "./words.js";

const WORD_WIDTH_SHARE = 0.9;
const LARGEST_WORD_PX = 300;

export class Field {
  constructor() {
    this.word = el("p", { className: "word", id: "word" });
    this.hint = el("p", { className: "hint" });
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
    );
    this.beats = el("strong", { id: "beats" });
    this.cents = el("strong", { id: "cents" });
    this.error = el("span", { id: "uncertainty" });
    this.numbers = el(
      "div",
      { className: "numbers" },
      el("p", {}, this.beats, el("span", {}, "beats a second")),
      el("p", {}, this.cents, el("span", {}, this.error, " cents")),
    );
    this.pulse = new Pulse((size, light) => {
      this.shape.path.style.setProperty("transform", `scaleY(${size.toFixed(3)})`);
      this.shape.path.style.setProperty("opacity", light.toFixed(3));
    });
    this.node.style.setProperty("--belly", `${BELLY_PX * 2}px`);
    new ResizeObserver(() => this.#fitWord()).observe(this.node);
    this.showNothing("");
  }

  /** Show a string's reading against its target. */
  showString(reading) {
    const word = reading.verdict ?? "";
    this.#place(reading.string_cents, word);
    this.#pulse(word === "in" ? 0 : reading.beats_hz);
    this.#setWord(word);
    say(this.hint, "");
    say(this.note, pretty(reading.target));
    say(this.which, `string ${reading.string}`);
    this.#number(reading.beats_hz, reading.string_cents, reading.uncertainty_cents);
  }

  /** Show a pitch that has no string to be tuned: the nearest note is its line. */
  showPitch(reading, hint) {
    const side = reading.cents < 0 ? "tighten" : "slacken";
    this.#place(reading.cents, side);
    this.#pulse(reading.beats_hz ?? 0);
    this.#setWord("");
    say(this.hint, hint);
    say(this.note, pretty(reading.note));
    say(this.which, "nearest note");
    this.#number(reading.beats_hz, reading.cents, reading.uncertainty_cents);
  }

  /** Nothing sounds: an empty line and one sentence. */
  showNothing(hint) {
    mark(this.node, "verdict", null);
    mark(this.node, "state", "silent");
    this.#pulse(0);
    this.#setWord("");
    say(this.hint, hint);
    say(this.note, "");
    say(this.which, "");
  }

  #place(cents, verdict) {
    const height = verdict === "in" ? 0 : heightOfCents(cents);
    mark(this.node, "state", "sounding");
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
    const tallest = this.node.clientHeight * (this.word.textContent === "in" ? 0.36 : 0.4);
    this.word.style.setProperty("font-size", `${Math.floor(Math.min(size, tallest))}px`);
  }

  #tick(cents) {
    const side = cents > 0 ? "above" : "below";
    const tick = el("span", { className: `tick ${side}`, "aria-hidden": "true" }, signed(cents, 0));
    tick.style.setProperty("--height", heightOfCents(cents).toFixed(4));
    return tick;
  }
}
