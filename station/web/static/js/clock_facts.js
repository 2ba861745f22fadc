// How true the sound card's clock is, and what is left of each error, in words.

import { signed } from "./words.js";

const CENTS_PER_PPM = 1200 / Math.LN2 / 1e6; // 0.00173 cents: what one part per million is worth

/** "0.004 cents", with the digits that mean something. */
function small(cents) {
  if (cents === 0) return "0 cents";
  return `${cents < 0.1 ? Math.max(cents, 0.001).toFixed(3) : cents.toFixed(1)} cents`;
}

function rate({ ppm, uncertainty_ppm: sure }) {
  if (ppm === null) return "";
  const about = sure === null ? "" : ` ±${sure.toFixed(1)}`;
  return `${signed(ppm)}${about} ppm (${signed(ppm * CENTS_PER_PPM, 3)} cents)`;
}

function stateWords(clock) {
  const against = clock.source ? ` against the time kept by ${clock.source}` : "";
  if (clock.state === "calibrated") return `calibrated${against}: it was ${rate(clock)} off, ${small(clock.card_cents)} are left`;
  const why = clock.reason ? `: ${clock.reason}` : "";
  if (clock.state === "measuring") return `being measured${against}${clock.ppm === null ? "" : `, so far ${rate(clock)}`}${why}`;
  return `not calibrated${why}`;
}

/** "– card: 0.001 cents, what calibrating left"; a share nobody can know yet has no figure. */
function budgetWords({ what, cents, from }) {
  const told = [cents === null ? "" : small(cents), from].filter(Boolean).join(", ");
  return `\u2013 ${what}: ${told}`;
}

/** Lines on the card's clock and, where the station tells it, its budget of errors. */
export function clockFacts(clock) {
  if (!clock) return [];
  const lines = [`sound card's clock: ${stateWords(clock)}`];
  const budget = clock.budget ?? [];
  if (budget.length) lines.push("how far off a reading may be, cause by cause:");
  return lines.concat(budget.map(budgetWords));
}
