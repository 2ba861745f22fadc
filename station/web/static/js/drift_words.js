// Who has drifted, as the gap after a song tells it: on phones and on the screen for all.

import { signed } from "./words.js";

const TOGETHER_CENTS = 3; // less than this nobody hears of a band that drifts together

/** Whether the band has played and is between songs now. */
export function isGap(evening) {
  return Boolean(evening) && ["gap", "tuning"].includes(evening.state) && evening.songs > 0;
}

export function driftVerdict(told) {
  return told.cents > 0 ? "slacken" : "tighten";
}

/** "G3", "all strings" of what has drifted. */
export function driftString(state, told) {
  if (told.string === null) return "all strings";
  const string = state.player(told.player)?.strings.find((each) => each.string === told.string);
  return string ? state.noteName(string.note) : `string ${told.string}`;
}

/** "the whole band \u22124.2 cents"; nothing of a drift nobody hears. */
export function togetherWords({ common }) {
  return common && Math.abs(common.cents) >= TOGETHER_CENTS ? `the whole band ${signed(common.cents)} cents` : "";
}
