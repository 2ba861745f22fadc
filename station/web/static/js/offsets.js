// Strings that are tuned off equal temperament on purpose: never without a word.

import { signed } from "./words.js";

/** "target +2.0 cents from equal: pure fifths", or "" where the target is equal temperament's. */
export function offsetWords(string, player) {
  if (!string?.offset_cents) return "";
  const label = player.offsets_label;
  return `target ${signed(string.offset_cents)} cents from equal${label ? `: ${label}` : ""}`;
}

/** All of a player's offsets in one line: "pure fifths: G3 −3.9, E5 +2.0 cents from equal". */
export function offsetsLabel(player, noteName) {
  const strings = player.strings.filter((each) => each.offset_cents);
  if (!strings.length) return "";
  const told = strings.map((each) => `${noteName(each.note)} ${signed(each.offset_cents)}`).join(", ");
  const label = player.offsets_label === "own" ? "own targets" : player.offsets_label || "targets";
  return `${label}: ${told} cents from equal`;
}

/** Cents as people write them: "+2", "-3,9", "−5.9 cents"; 0 for nothing, NaN for anything else. */
export function centsFrom(text) {
  const [, sign, number] = /^([+\-\u2212]?)\s*(\d+(?:[.,]\d*)?)(?:\s*cents?)?$/i.exec(text.trim()) ?? [];
  if (text.trim() === "") return 0;
  if (number === undefined) return NaN;
  const cents = Number(number.replace(",", "."));
  return sign === "" || sign === "+" ? cents : -cents;
}
