// Names of notes for people. The station names notes in English with # and b; here
// they are spelled the same in another system: a sharp stays a sharp, a flat a flat.

export const SYSTEMS = { english: "English", german: "German", solfege: "solfege" };

const SOLFEGE = { C: "Do", D: "Re", E: "Mi", F: "Fa", G: "Sol", A: "La", B: "Si" };
const WRITTEN = /^([A-G])(#{0,2}|b{0,2})(-?\d*)$/;

/** "E♭2" for the station's "Eb2", "Es2" in German, "Mi♭2" in solfege; what is no note stays. */
export function noteIn(note, system) {
  const [, letter, signs, octave] = WRITTEN.exec(note) ?? [];
  if (letter === undefined) return note;
  if (system === "german") return german(letter, signs) + octave;
  const natural = system === "solfege" ? SOLFEGE[letter] : letter;
  return natural + signs.replaceAll("#", "\u266f").replaceAll("b", "\u266d") + octave;
}

// B natural is H; B flat is B, and only its further flat keeps the H: Heses.
function german(letter, signs) {
  if (letter === "B" && signs === "b") return "B";
  const natural = letter === "B" ? "H" : letter;
  if (!signs.startsWith("b")) return natural + "is".repeat(signs.length);
  return natural + ("AE".includes(natural) ? "s" : "es") + "es".repeat(signs.length - 1);
}
