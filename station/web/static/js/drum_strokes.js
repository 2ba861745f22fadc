// A drummer's strokes side by side in order of time, each at its height: a filled lens
// counts, a hollow one is left out and says why. One without a pitch lies under the notes.

import { el, mark, say } from "./dom.js";
import { shareIn } from "./drum_axis.js";
import { shortWhy } from "./drum_words.js";
import { shape } from "./shapes.js";

class StrokeMark {
  constructor() {
    this.lens = shape("stroke-lens");
    this.why = el("span", { className: "stroke-why" });
    this.spoken = el("span", { className: "only-spoken" });
    this.node = el("li", { className: "stroke" }, this.lens.node, this.why, this.spoken);
  }

  update(stroke, place, semitones, window, isLast) {
    mark(this.node, "counts", stroke.why === null ? "yes" : null);
    mark(this.node, "last", isLast ? "yes" : null);
    mark(this.node, "pitch", semitones === null ? "none" : null);
    const share = semitones === null ? 0 : shareIn(semitones, window);
    this.node.style.setProperty("--share", share.toFixed(4));
    // Near the top the words stand below, and above otherwise.
    mark(this.node, "high", share > 0.7 ? "yes" : null);
    const words = shortWhy(stroke);
    say(this.why, words);
    say(this.spoken, `stroke ${place + 1}: ${words ? `${words}, not counted` : "counted"}`);
  }
}

export class DrumStrokes {
  #marks = [];

  constructor() {
    this.node = el("ol", { className: "strokes-row" });
  }

  /** `height(hz)` is where a frequency stands in semitones. */
  update(taps, height, window) {
    const { strokes, wanted, last } = taps;
    this.node.style.setProperty("--places", Math.max(wanted, strokes.length));
    while (this.#marks.length > strokes.length) this.#marks.pop().node.remove();
    while (this.#marks.length < strokes.length) {
      this.#marks.push(new StrokeMark());
      this.node.append(this.#marks.at(-1).node);
    }
    strokes.forEach((stroke, place) => {
      const semitones = stroke.fundamental_hz === null ? null : height(stroke.fundamental_hz);
      this.#marks[place].update(stroke, place, semitones, window, stroke.at_s === last?.at_s);
    });
  }
}
