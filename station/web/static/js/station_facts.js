// What the station says of itself, in full; what is as it should be is not spelled out.

import { clockFacts } from "./clock_facts.js";
import { count, hum, HUM_REMEDY, humsLoudly, tolerance } from "./words.js";

/** One line for each thing there is to say of the room's station. */
export function facts(room) {
  const { station } = room;
  const { input, lamps } = station;
  const because = (reason) => (reason ? `: ${reason}` : "");
  const lit = station.simulated && lamps.state === "lit" ? "simulated" : lamps.state;
  const lines = [
    `${station.name}, version ${station.version}`,
    `${tolerance(station.in_cents)} of its pitch`,
    `sound: ${input.state}${input.device ? ` on ${input.device}` : ""}${because(input.reason)}`,
    `lamps: ${lit}${because(lamps.reason)}`,
  ];
  if (input.overruns) lines.push(`moments of sound lost since the start: ${input.overruns}`);
  if (input.restarts) lines.push(`sound input started again ${count(input.restarts, "time")}`);
  if (station.tracker !== "aubio") lines.push(`pitch is found by the stand-in, ${station.tracker}${because(station.tracker_reason)}`);
  return lines.concat(clockFacts(station.clock), hums(room), station.banners);
}

/** The mains hum of every line that has some; what helps, once, where one is loud. */
function hums({ station, lines, players }) {
  if (station.input.state !== "listening") return []; // what was heard may be gone
  const told = lines.filter(hum).map((line) => {
    const names = players.filter((each) => each.line === line.line).map((each) => each.name);
    return `${[`line ${line.line}`, ...names].join(", ")}: ${hum(line)}`;
  });
  return lines.some(humsLoudly) ? [...told, `loud hum: ${HUM_REMEDY}`] : told;
}

