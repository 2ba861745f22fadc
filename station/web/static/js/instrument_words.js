// What was found of an instrument of fixed pitch, in words.

import { askedOf } from "./note_marks.js";
import { beats, count } from "./words.js";

const OWN = "per-note offsets"; // the station's word for no temperament known by a name

/** "just in G", "equal"; `own` for none that has a name. */
function named({ temperament, root }, noteName, own) {
  if (temperament === OWN) return own;
  return root ? `${temperament} in ${noteName(root)}` : temperament;
}

// As measure/fixed/claim.py has it: with less the likeliest is named, and no more than that is said.
const SURE = 0.98;

export function temperamentWords(instrument, noteName) {
  if (instrument.temperament === null) return "cannot tell yet";
  const words = named(instrument, noteName, "its own, note by note");
  return instrument.evidence[0]?.probability < SURE ? `most likely ${words}` : words;
}

/** "6 to 1 against Vallotti": the first of the evidence against the second; "" where nothing rivals it. */
function oddsWords([first, second], noteName) {
  if (!second || !(first.probability < 1000 * second.probability)) return "";
  const odds = first.probability / second.probability;
  return `${odds.toFixed(odds < 3 ? 1 : 0)} to 1 against ${named(second, noteName, "none of these")}`;
}

/** "97 %", and never more than the evidence carries: "over 99 %". */
function percent(share) {
  if (share > 0.99) return "over 99\u00a0%";
  return share < 0.01 ? "under 1\u00a0%" : `${Math.round(share * 100)}\u00a0%`;
}

/** "45 to 1 against Vallotti: equal 97 %, Vallotti 2 %"; nothing where the notes cannot carry a claim. */
export function evidenceWords(instrument, noteName) {
  if (instrument.temperament === null) return "";
  const shares = instrument.evidence.map((each) => `${named(each, noteName, "none of these")} ${percent(each.probability)}`);
  return [oddsWords(instrument.evidence, noteName), shares.join(", ")].filter(Boolean).join(": ");
}

/** All of it in a few words: "12 notes, most likely Young, 6 to 1 against Vallotti". */
export function foundWords(instrument, noteName) {
  const odds = instrument.temperament === null ? "" : oddsWords(instrument.evidence, noteName);
  const told = instrument.temperament === null ? "temperament unknown" : temperamentWords(instrument, noteName);
  return [count(instrument.distinct, "note"), told, odds].filter(Boolean).join(", ");
}

/** One line for each reed that is out of line, and one for all that beat. */
export function reedWords(instrument, noteName) {
  const words = instrument.notes.filter((note) => note.bad).map((note) => {
    const off = note.cents - askedOf(note);
    const side = off < 0 ? "flat" : "sharp";
    return `${noteName(note.note)} is ${Math.abs(off).toFixed(1)} cents ${side} of its place: it does not count`;
  });
  const pairs = instrument.notes.map((note) => note.beat_hz).filter((hz) => hz !== null);
  if (pairs.length) {
    const [slow, fast] = [Math.min(...pairs), Math.max(...pairs)].map((hz) => beats(hz));
    words.push(`two reeds to a note: ${slow === fast ? slow : `${slow} to ${fast}`} beats a second`);
  }
  return words;
}
