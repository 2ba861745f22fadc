// Which tone is wanted: a note of equal temperament on the agreed reference, or the
// target of one of its owner's strings.

const SHARPS = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const STEPS = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };
const WRITTEN = /^([A-G])(#{0,2}|b{0,2})(-?\d+)$/;
const A4 = 69;
export const LOWEST = 24; // C1
export const HIGHEST = 96; // C7

/** The MIDI number of the station's "Eb2"; NaN for what is no note. */
export function midiOf(note) {
  const [, letter, signs, octave] = WRITTEN.exec(note) ?? [];
  if (letter === undefined) return NaN;
  const shift = signs.startsWith("b") ? -signs.length : signs.length;
  return STEPS[letter] + shift + 12 * (Number(octave) + 1);
}

/** The station's name of a MIDI number, with sharps. */
export function noteOf(midi) {
  return `${SHARPS[midi % 12]}${Math.floor(midi / 12) - 1}`;
}

/** Hertz of a MIDI number in equal temperament on A4 = a4Hz. */
export function hzOf(midi, a4Hz) {
  return a4Hz * 2 ** ((midi - A4) / 12);
}
