// What is said of the running order: what a player has to change, and who is ready.

import { turnWords } from "./peg_words.js";
import { count, signed } from "./words.js";

const NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];

/** "two semitones down", "35 cents up". */
export function moveWords(cents) {
  const side = cents < 0 ? "down" : "up";
  const semitones = Math.round(Math.abs(cents) / 100);
  if (Math.abs(Math.abs(cents) - 100 * semitones) > 0.5) return `${Math.abs(cents).toFixed(0)} cents ${side}`;
  return `${NUMBERS[semitones] ?? semitones} ${semitones === 1 ? "semitone" : "semitones"} ${side}`;
}

function stringWords(told, noteName) {
  if (told.state === "turn") {
    const way = told.from === told.to ? noteName(told.to) : `${noteName(told.from)} to ${noteName(told.to)}`;
    const peg = told.peg ? `: ${told.peg.word} ${turnWords(told.peg)}` : "";
    return `string ${told.string}: ${way}, ${moveWords(told.cents)}${peg}`;
  }
  if (told.crept_cents !== null) return `string ${told.string} crept by ${signed(told.crept_cents)} cents: tune it again`;
  return `string ${told.string}: check again, it was turned`;
}

function checkWords(numbers, all) {
  if (!numbers.length) return [];
  if (numbers.length === all) return ["play every string once"];
  return [`play ${numbers.length > 1 ? "strings" : "string"} ${numbers.join(" ")} once`];
}

/** A line for each string, or one for all that go alike where no peg is known. */
function turnLines(turned, all, noteName) {
  const alike = turned.length > 2 && turned.length === all && turned.every((each) => each.cents === turned[0].cents && !each.peg);
  return alike ? [`every string ${moveWords(turned[0].cents)}`] : turned.map((each) => stringWords(each, noteName));
}

/** A player's own list, in words: what they have to take up, turn, set and play; nothing when there is none. */
export function changeWords(told, player, noteName) {
  if (!told) return [];
  const lines = [];
  if (told.problem) lines.push(told.problem);
  if (!told.ready && told.instrument) lines.push(`take up the ${told.instrument.toLowerCase()}, ${told.tuning ?? "as it is"}`);
  if (!told.ready && told.capo !== null) lines.push(told.capo ? `capo on fret ${told.capo}` : "capo off");
  lines.push(...turnLines(told.strings.filter((each) => each.state === "turn"), player.strings.length, noteName));
  lines.push(...checkWords(told.strings.filter((each) => each.state === "check").map((each) => each.string), player.strings.length));
  lines.push(...told.strings.filter((each) => each.state === "again").map((each) => stringWords(each, noteName)));
  return lines;
}

/** "2 of 3 ready", "everyone is ready"; nothing where a song asks nothing of anybody. */
export function readyWords(order) {
  if (!order.song || !order.of) return "";
  return order.ready === order.of ? "everyone is ready" : `${order.ready} of ${order.of} ready`;
}

/** "floor tom G2, rack tom C3". */
export function drumWords(drums, noteName) {
  return Object.entries(drums).map(([name, note]) => `${name} ${noteName(note)}`).join(", ");
}

/** "E minor", as notes are named here; the bass's roots after it. */
export function keyWords(song, noteName) {
  const [tonic, ...scale] = song.key.split(" ");
  const key = song.key ? [noteName(`${tonic}`), ...scale].join(" ") : "";
  const bass = song.bass.length ? `bass ${song.bass.map(noteName).join(" ")}` : "";
  return [key, bass].filter(Boolean).join(" · ");
}

/** What a player takes up for a song, as people say it: "guitar, drop d, capo 2". */
export function setupWords(setup) {
  return setup.replace(":", ", ").replace(" capo", ", capo").replaceAll("-", " ");
}

/** "3 songs". */
export function songCount(songs) {
  return songs.length ? count(songs.length, "song") : "no songs yet";
}
