// Turns of a peg, as a hand counts them: in quarters, with what they are unsure by.

const QUARTERS = ["", "\u00bc", "\u00bd", "\u00be"];
const EIGHTHS = ["", "\u215b", "\u00bc", "\u215c", "\u00bd", "\u215d", "\u00be", "\u215e"];

function mixed(parts, signs) {
  const whole = Math.floor(parts / signs.length);
  const rest = signs[parts % signs.length];
  return whole ? `${whole}${rest}` : rest;
}

/** "\u00be", "1\u00bd" for quarters of a turn. */
export function quarterWords(quarters) {
  return mixed(quarters, QUARTERS);
}

/** "about 1\u00bd turns, give or take \u00bc". */
export function turnWords({ turns, spread }) {
  const quarters = Math.round(turns * 4);
  const unsure = `give or take ${mixed(Math.max(1, Math.round(spread * 8)), EIGHTHS)}`;
  if (!quarters) return `less than ${QUARTERS[1]} turn`;
  return `about ${quarterWords(quarters)} ${quarters > 4 ? "turns" : "turn"}, ${unsure}`;
}
