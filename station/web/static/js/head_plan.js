// The head from above, small: its lugs clockwise from the top, where to tap or turn, and the
// order across while the head is brought up.

import { svg } from "./dom.js";

const RIM = 74;
const LUG = 88;
const TAP = 54; // an inch and a half to two from the lug
const SVG_TOP = -Math.PI / 2;

function at(lug, lugs, radius) {
  const angle = SVG_TOP + (2 * Math.PI * (lug - 1)) / lugs;
  return [radius * Math.cos(angle), radius * Math.sin(angle)].map((each) => each.toFixed(2));
}

function dot(place, radius, name) {
  const [cx, cy] = place;
  return svg("circle", { cx, cy, r: radius, class: name });
}

/** Lines that join the lugs in the order across; a pair's line thick while one of it is next. */
function crossLines(order, lugs, next) {
  return order.slice(1).map((lug, place) => {
    const [x1, y1] = at(order[place], lugs, RIM - 8);
    const [x2, y2] = at(lug, lugs, RIM - 8);
    const now = lug === next ? "cross-now" : "cross";
    return svg("line", { x1, y1, x2, y2, class: now });
  });
}

/** A curved arrow round a lug: clockwise tightens. */
function turnArrow(lug, lugs, verdict) {
  const [x, y] = at(lug, lugs, LUG).map(Number);
  const sweep = verdict === "tighten" ? 1 : 0;
  const side = verdict === "tighten" ? 1 : -1;
  const r = 21;
  const group = svg("g", { transform: `translate(${x} ${y})`, class: `turn-arrow ${verdict}` });
  group.append(
    svg("path", { d: `M${-side * r} 4A${r} ${r} 0 1 ${sweep} ${side * r} 4`, class: "turn-line" }),
    svg("path", { d: `M${side * r - 7} 0L${side * r + 7} 0L${side * r} 11Z`, class: "turn-point" }),
  );
  return group;
}

export class HeadPlan {
  #drawn = "";

  constructor() {
    this.node = svg("svg", { viewBox: "-118 -118 236 236", class: "head-plan", role: "img" });
  }

  /** `lugs`, their `order`, the `phase`; `tap` or `turn` ({lug, verdict}) is what to do now;
   * `farthest` has the lugs that may be farthest out, the likeliest first. */
  draw({ lugs, order, phase, tap = null, turn = null, farthest = null }) {
    const key = JSON.stringify([lugs, order, phase, tap, turn, farthest]);
    if (this.#drawn === key) return;
    this.#drawn = key;
    const now = tap ?? turn?.lug ?? null;
    const what = tap !== null ? `tap beside lug ${tap}` : turn ? `${turn.verdict} lug ${turn.lug}` : "";
    this.node.setAttribute("aria-label", `the head with ${lugs} lugs from above${what ? `: ${what}` : ""}`);
    const [named = [], ...others] = farthest?.candidates ?? [];
    const maybe = others.flat();
    const rank = (lug) => (named.includes(lug) ? " named" : maybe.includes(lug) ? " maybe" : farthest ? " unlikely" : "");
    const parts = [svg("circle", { r: RIM, class: "plan-rim" })];
    if (phase === "cross") parts.push(...crossLines(order, lugs, tap));
    else parts.push(dot([0, 0], 9, "plan-finger"));
    for (let lug = 1; lug <= lugs; lug += 1) {
      const place = at(lug, lugs, LUG);
      const circle = dot(place, 14, `plan-lug${rank(lug)}${lug === now ? " now" : ""}`);
      const words = svg("text", { x: place[0], y: place[1], class: `plan-number${rank(lug)}${lug === now ? " now" : ""}` });
      words.textContent = phase === "cross" && now === null ? String(order.indexOf(lug) + 1) : String(lug);
      parts.push(circle, words);
    }
    if (tap !== null) parts.push(dot(at(tap, lugs, TAP), 9, "plan-tap"));
    if (turn) parts.push(turnArrow(turn.lug, lugs, turn.verdict));
    this.node.replaceChildren(...parts);
  }
}

/** The order across of so many lugs, as station/music/lugs.py has it. */
export function crossOrder(lugs) {
  if (lugs % 2) return Array.from({ length: lugs }, (_, step) => ((2 * step) % lugs) + 1);
  const half = lugs / 2;
  const gap = (pair, done) => Math.min(...done.map((each) => Math.min((pair - each + half) % half, (each - pair + half) % half)));
  const done = [0];
  while (done.length < half) {
    const left = Array.from({ length: half }, (_, pair) => pair).filter((pair) => !done.includes(pair));
    done.push(left.reduce((best, pair) => (gap(pair, done) > gap(best, done) ? pair : best)));
  }
  return done.flatMap((pair) => [pair + 1, pair + half + 1]);
}
