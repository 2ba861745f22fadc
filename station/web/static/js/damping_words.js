// What a change of damping did, in words first. What is within the strokes' own scatter is
// "as before"; nothing here says whether more ring or less is better.

import { signed, uncertainty } from "./words.js";
import { secondsWords } from "./drum_words.js";

const HEARD_DB = 1; // a smaller change of loudness is hardly heard (from memory)
const RING_SHARE = 0.05;
const SURE = 2; // standard deviations

function differs(change, sd, least) {
  return change !== null && Math.abs(change) > Math.max(least, SURE * (sd ?? 0));
}

const ringDiffers = (one) => differs(one.ring_ms, one.ring_sd_ms, 1000 * RING_SHARE * (one.ring_s ?? 0));
const levelDiffers = (one) => differs(one.level_db, one.level_sd_db, HEARD_DB);

/** One partial: "rings 0.31 s shorter, softer", "gone", "as before". */
export function partialWords(one) {
  if (one.heard === "before") return "gone";
  if (one.heard === "after") return "new";
  const words = [];
  if (ringDiffers(one)) words.push(`rings ${secondsWords(Math.abs(one.ring_ms) / 1000)} ${one.ring_ms < 0 ? "shorter" : "longer"}`);
  if (levelDiffers(one)) words.push(one.level_db < 0 ? "softer" : "louder");
  return words.join(", ") || "as before";
}

/** The figures of one partial: "158.3 Hz · ring −310 ms ±20 · level −2.1 dB ±0.4".
 *
 * Levels are told against the fundamental's, for no two strokes are alike: of the fundamental
 * itself only what its ring takes away is known.
 */
export function partialFigures(one, isFundamental) {
  const words = [`${one.hz.toFixed(1)} Hz`];
  if (one.ring_ms !== null) words.push(`ring ${signed(one.ring_ms, 0)} ms${spread(one.ring_sd_ms, 0)}`);
  if (isFundamental && one.sound_db !== null) words.push(`sound ${signed(one.sound_db)} dB`);
  if (one.level_db !== null && !isFundamental) words.push(`level ${signed(one.level_db)} dB${spread(one.level_sd_db)}`);
  return words.join(" · ");
}

function spread(sd, digits = 1) {
  if (sd === null) return "";
  return digits ? ` ${uncertainty(sd)}` : ` ±${sd.toFixed(digits)}`;
}

/** All of it in one large word or two. */
export function dampingWords(partials) {
  const own = partials[0];
  const upper = partials.slice(1);
  const words = [];
  if (own && ringDiffers(own)) words.push(own.ring_ms < 0 ? "rings shorter" : "rings longer");
  const less = upper.filter((one) => one.heard === "before" || (levelDiffers(one) && one.level_db < 0) || (ringDiffers(one) && one.ring_ms < 0));
  const more = upper.filter((one) => one.heard === "after" || (levelDiffers(one) && one.level_db > 0) || (ringDiffers(one) && one.ring_ms > 0));
  if (less.length > more.length) words.push("less overtone");
  if (more.length > less.length) words.push("more overtone");
  return words.join(", ") || "as before";
}
