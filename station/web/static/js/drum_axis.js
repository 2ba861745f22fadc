// The notes beside a drummer's strokes: a line for each semitone of the reference, as many
// of them named as have room, and where a frequency stands between them.

import { el } from "./dom.js";

const SEMITONES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const A4_MIDI = 69;
const AROUND = 2; // semitones kept free below and above
const LEAST = 12;
const NAME_PX = 21;
const STEPS = [1, 2, 3, 4, 6, 12];

/** Where hz stands in semitones, as MIDI counts them (A4 is 69), against a reference. */
export function semitonesOf(hz, a4Hz) {
  return A4_MIDI + 12 * Math.log2(hz / a4Hz);
}

/** The station's name of a semitone, "C#3". */
function nameOf(midi) {
  return SEMITONES[midi % 12] + (Math.floor(midi / 12) - 1);
}

/** Whole semitones that hold all of these, the higher part free where they are close together. */
export function notesAround(values) {
  const low = Math.floor(Math.min(...values)) - AROUND;
  return { low, high: Math.max(Math.ceil(Math.max(...values)) + AROUND, low + LEAST) };
}

/** Where a semitone stands in a window: 0 at its bottom, 1 at its top, never outside. */
export function shareIn(midi, { low, high }) {
  return Math.min(Math.max((midi - low) / (high - low), 0), 1);
}

export class NoteLines {
  #noteName;
  #drawn = "";

  /** `noteName` says how a note is named here. */
  constructor(noteName) {
    this.#noteName = noteName;
    this.node = el("div", { className: "note-lines", "aria-hidden": "true" });
  }

  /** Lines for this window in a plot so high; `nearest` is named whatever the room. */
  draw(window, nearest, heightPx) {
    const { low, high } = window;
    const step = STEPS.find((each) => (each * heightPx) / (high - low) >= NAME_PX) ?? 12;
    const key = [low, high, nearest, step, this.#noteName("B4")].join(" ");
    if (this.#drawn === key) return;
    this.#drawn = key;
    const lines = [];
    for (let midi = low; midi <= high; midi += 1) {
      const named = (midi - nearest) % step === 0;
      const line = el("span", { className: "note-line" }, named ? this.#noteName(nameOf(midi)) : "");
      if (midi === nearest) line.dataset.nearest = "yes";
      line.style.setProperty("--share", shareIn(midi, window).toFixed(4));
      lines.push(line);
    }
    this.node.replaceChildren(...lines);
  }
}
