// What is said of a head that is gone round lug by lug. Cents are from the head's own mean:
// no drum is called wrong, only uneven.

import { signed } from "./words.js";

export const WORDS = { tighten: "tighten", slacken: "slacken", in: "in" };

/** What to do in a word or two, as large as there is room: "tap 3", "tighten 5", "even". */
export function bigWord(head) {
  if (head.tap_next !== null) return `tap ${head.tap_next}`;
  if (head.turn_next) return `${head.turn_next.verdict} ${head.turn_next.lug}`;
  return head.even ? "even" : "tap round";
}

/** Below the word: how far, or how often. */
export function howWords(head) {
  if (head.tap_next !== null) {
    const had = head.taken[head.tap_next - 1];
    return head.taps_wanted > 1 ? `stroke ${Math.min(had + 1, head.taps_wanted)} of ${head.taps_wanted}` : "one stroke";
  }
  if (head.turn_next) return head.turn_next.how;
  return "";
}

/** "evenness 12 cents, pass 2". */
export function evennessWords(head) {
  if (head.evenness_cents === null) return head.phase === "cross" ? "across, from finger-tight" : `pass ${head.passes + 1}, clockwise`;
  return `lowest to highest ${head.evenness_cents.toFixed(0)} cents · pass ${head.passes}`;
}

/** What a lug is, for those who cannot see it: "lug 3: 12 cents below the mean, tighten". */
export function lugWords(heard, lug) {
  if (!heard) return `lug ${lug}: not tapped yet`;
  const side = heard.offset_cents < 0 ? "below" : "above";
  const off = Math.abs(heard.offset_cents).toFixed(0);
  const word = heard.verdict ? `, ${heard.verdict}` : "";
  return `lug ${lug}: ${off} cents ${side} the mean${word}`;
}

/** "+12" beside a mark. */
export function offsetWords(heard) {
  return signed(heard.offset_cents, 0);
}
