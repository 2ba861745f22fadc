// An instrument's notes side by side in order of pitch, each at the height of its
// deviation: above the line sharp, below it flat. A short line across a note is where the
// temperament wants it; two reeds stand as a pair with their beats written above.

import { FULL_CENTS, heightOfCents, sideOf, TICKS } from "./axis.js";
import { el, svg } from "./dom.js";
import { shapePath } from "./shapes.js";
import { beats, signed } from "./words.js";

const TALL_PX = 226;
const REACH_PX = 84; // from the line to a whole semitone's share
const LINE_Y = 104;
const EDGE_PX = 38; // the scale's numbers
const LEAST_SEAT_PX = 27;
const MOST_SEAT_PX = 56;
const NARROW_SEAT_PX = 42; // names stand in two rows below this
const FINE = { full: 12, ticks: [-6, -2, 2, 6] }; // of an instrument that is nowhere far off
const WIDE = { full: FULL_CENTS, ticks: TICKS };
const FINE_WITHIN_CENTS = 8;
const SEED_TALL = 0.11;
const VERDICT = { below: "tighten", above: "slacken", in: "in" };

/** What a note deviates from: the temperament's own offset, or equal temperament. */
export function askedOf(note) {
  return note.temperament_cents ?? 0;
}

/** Cents of each reed from equal temperament on the instrument's own A4. */
function reedCents(note, a4Hz) {
  const equalHz = a4Hz * 2 ** ((note.midi - 69) / 12);
  return note.reeds_hz.map((hz) => 1200 * Math.log2(hz / equalHz));
}

/** The scale that shows all of an instrument's notes, reeds and expectations. */
function scaleOf(instrument) {
  const all = instrument.notes.flatMap((note) => [note.cents, askedOf(note), ...reedCents(note, instrument.a4_hz)]);
  const { full, ticks } = all.every((cents) => Math.abs(cents) <= FINE_WITHIN_CENTS) ? FINE : WIDE;
  return { ticks, yOf: (cents) => LINE_Y - heightOfCents(cents, full) * REACH_PX };
}

function text(x, y, className, words, anchor = "middle") {
  return svg("text", { x: x.toFixed(1), y: y.toFixed(1), class: className, "text-anchor": anchor }, words);
}

function bar(className, x, fromY, toY) {
  return svg("line", { class: className, x1: x, x2: x, y1: fromY.toFixed(1), y2: toY.toFixed(1) });
}

function dash(className, fromX, toX, y) {
  return svg("line", { class: className, x1: fromX, x2: toX, y1: y.toFixed(1), y2: y.toFixed(1) });
}

function seed(x, y, side, wide) {
  const place = `translate(${x.toFixed(1)} ${y.toFixed(1)}) scale(${(wide / 200).toFixed(3)} ${SEED_TALL})`;
  return svg("path", { class: "note-seed", d: shapePath(VERDICT[side]), transform: place });
}

/** The drawing of one note in its seat, at x with the seat's width. */
function noteMark(note, x, seat, rank, { a4Hz, inCents, noteName, yOf }) {
  const side = sideOf(note.cents - askedOf(note), inCents);
  const group = svg("g", { class: "note", "data-side": side, "data-note": note.note });
  if (note.bad) group.setAttribute("data-bad", "yes");
  const half = seat * 0.48;
  if (askedOf(note) !== 0) group.append(dash("note-asked", x - half, x + half, yOf(note.temperament_cents)));
  const wide = Math.min(seat * 0.6, 24);
  const reeds = note.reeds_hz.length > 1 ? reedCents(note, a4Hz) : [];
  if (reeds.length) {
    group.append(bar("note-pair", x, yOf(Math.min(...reeds)), yOf(Math.max(...reeds))));
    group.append(...reeds.map((cents) => seed(x, yOf(cents), side, wide * 0.8)));
    if (note.beat_hz !== null) group.append(text(x, yOf(Math.max(...reeds)) - 12, "note-beats", beats(note.beat_hz)));
  } else {
    const sure = note.uncertainty_cents;
    group.append(bar("note-error", x, yOf(note.cents - sure), yOf(note.cents + sure)), seed(x, yOf(note.cents), side, wide));
  }
  const low = seat < NARROW_SEAT_PX && rank % 2 ? 0 : 17;
  group.append(text(x, TALL_PX - 5 - low, "note-name", noteName(note.note)));
  return group;
}

export class NoteMarks {
  #drawn = "";

  constructor() {
    this.scale = svg("svg", { class: "marks-scale", width: EDGE_PX, height: TALL_PX, "aria-hidden": "true" });
    this.marks = svg("svg", { class: "marks", role: "img" });
    this.strip = el("div", { className: "marks-strip", tabIndex: 0 }, this.marks);
    this.node = el("div", { className: "marks-box" }, this.scale, this.strip);
  }

  /** Draw the instrument's notes; `inCents` is how near counts as in. */
  update(instrument, inCents, noteName) {
    const room = this.strip.clientWidth;
    const key = JSON.stringify([room, instrument.notes, instrument.a4_hz, inCents, noteName("B4")]);
    if (!room || key === this.#drawn) return;
    this.#drawn = key;
    const notes = [...instrument.notes].sort((a, b) => a.midi - b.midi);
    const seat = Math.min(Math.max(room / Math.max(notes.length, 1), LEAST_SEAT_PX), MOST_SEAT_PX);
    const wide = Math.max(room, Math.floor(seat * notes.length));
    const start = Math.max(0, (room - seat * notes.length) / 2);
    for (const [name, value] of Object.entries({ width: wide, height: TALL_PX })) this.marks.setAttribute(name, value);
    this.marks.setAttribute("aria-label", `${notes.length} notes and how far each is from equal temperament, in cents`);
    const { ticks, yOf } = scaleOf(instrument);
    const told = { a4Hz: instrument.a4_hz, inCents, noteName, yOf };
    this.scale.replaceChildren(
      ...[...ticks, 0].map((cents) => text(EDGE_PX - 8, yOf(cents) + 5, "marks-number", signed(cents, 0), "end")),
    );
    this.marks.replaceChildren(
      ...ticks.map((cents) => dash("marks-tick", 0, wide, yOf(cents))),
      dash("marks-line", 0, wide, LINE_Y),
      ...notes.map((note, rank) => noteMark(note, start + seat * (rank + 0.5), seat, rank, told)),
    );
  }
}
