// The drummer's field: the reference's semitones as lines, the strokes, and what they say
// together as two lenses at the right: the fundamental, which pulses where two heads
// beat, and above it the overtone.

import { el, mark, say } from "./dom.js";
import { NoteLines, notesAround, semitonesOf, shareIn } from "./drum_axis.js";
import { DrumStrokes } from "./drum_strokes.js";
import { FLASH_LIMIT_HZ, Pulse } from "./pulse.js";
import { shape } from "./shapes.js";

class ModeMark {
  constructor(name, words) {
    this.lens = shape("mode-lens");
    this.node = el("div", { className: `mode ${name}` }, this.lens.node, el("span", { className: "mode-name" }, words));
  }

  /** At this height; null: not heard. */
  place(semitones, window) {
    this.node.hidden = semitones === null;
    if (semitones !== null) this.node.style.setProperty("--share", shareIn(semitones, window).toFixed(4));
  }
}

export class DrumPlot {
  #last = null;

  /** `noteName` says how a note is named here. */
  constructor(noteName) {
    this.lines = new NoteLines(noteName);
    this.strokes = new DrumStrokes();
    this.fundamental = new ModeMark("fundamental", "fundamental");
    this.overtone = new ModeMark("overtone", "overtone");
    this.plot = el("div", { className: "drum-plot" }, this.lines.node, this.overtone.node, this.fundamental.node, this.strokes.node);
    this.hint = el("p", { className: "drum-hint" });
    this.aside = el("p", { className: "drum-aside" });
    this.node = el("div", { className: "drum-field" }, this.plot, this.hint, this.aside);
    this.pulse = new Pulse((size, light) => {
      this.fundamental.lens.path.style.setProperty("transform", `scaleY(${size.toFixed(3)})`);
      this.fundamental.lens.path.style.setProperty("opacity", light.toFixed(3));
    });
    new ResizeObserver(() => this.#last && this.#draw(...this.#last)).observe(this.node);
  }

  /** Nothing tapped: one sentence, and maybe some small print. */
  showNothing(hint, aside) {
    this.#last = null;
    mark(this.node, "state", "waiting");
    say(this.hint, hint);
    say(this.aside, aside);
    this.#beat(0);
  }

  show(taps, a4Hz) {
    this.#last = [taps, a4Hz];
    mark(this.node, "state", "tapped");
    say(this.hint, "");
    say(this.aside, "");
    this.#draw(taps, a4Hz);
    this.#beat(taps.tap?.beat_hz ?? 0);
  }

  #draw(taps, a4Hz) {
    const height = (hz) => semitonesOf(hz, a4Hz);
    const { tap, strokes } = taps;
    const own = strokes.filter((each) => each.why === null || !tap).map((each) => each.fundamental_hz);
    const heard = [tap?.fundamental_hz, tap?.overtone_hz, ...own].filter((hz) => typeof hz === "number");
    this.lines.node.hidden = heard.length === 0;
    const window = notesAround(heard.length ? heard.map(height) : [0]);
    const middle = tap ? height(tap.fundamental_hz) : window.low;
    this.lines.draw(window, Math.floor(middle + 0.5), this.plot.clientHeight);
    this.strokes.update(taps, height, window);
    this.fundamental.place(tap ? middle : null, window);
    this.overtone.place(typeof tap?.overtone_hz === "number" ? height(tap.overtone_hz) : null, window);
  }

  #beat(beatHz) {
    const shown = Math.min(beatHz, FLASH_LIMIT_HZ);
    mark(this.fundamental.node, "pulseHz", shown.toFixed(2));
    this.pulse.set(shown);
  }
}
