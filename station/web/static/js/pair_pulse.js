// Two strings together, as one large lens that swells and fades with their beat.
//
// The white line is where the string to move belongs as long as the other stays: the lens
// stands above it while that string is sharp, below it while it is flat. Its swelling
// follows the measured beat's own phase. A large shape may flash three times a second at
// most (WCAG 2.2, 2.3.1): that is as fast as it is drawn, and from CALM_HZ on its light
// hardly changes; the number beside it tells the rest.

import { heightOfCents, TICKS } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { FLASH_LIMIT_HZ, pulseAt } from "./pulse.js";
import { shape } from "./shapes.js";
import { signed } from "./words.js";

const CATCH_UP_S = 0.6; // in which the drawn phase comes to the measured one
const LEAST_DEPTH = 0.35; // a beat that is hardly heard is still to be seen

/** The part of a turn, -0.5 to 0.5, from one phase to another. */
function apart(from, to) {
  return ((((to - from) % 1) + 1.5) % 1) - 0.5;
}

/** How loud two strings are together, 0 to 1, at a phase in turns (0: loudest). */
export function loudness(phase, depth) {
  const d = Math.max(LEAST_DEPTH, Math.min(depth, 1));
  const level = (at) => Math.sqrt(Math.max(0, 1 + d * Math.cos(2 * Math.PI * at)));
  return (level(phase) - level(0.5)) / (level(0) - level(0.5));
}

export class PairPulse {
  #reading = null;
  #phase = 0;
  #behind = 0; // turns still to catch up
  #frame = 0;
  #last = null;
  #calm = window.matchMedia("(prefers-reduced-motion: reduce)");

  constructor() {
    this.lens = shape("pair-lens");
    this.ghosts = [0, 1].map(() => shape("pair-ghost"));
    this.word = el("p", { className: "pair-word", id: "pair-word", role: "status" });
    this.hint = el("p", { className: "ladder-hint" });
    this.target = el("p", { className: "pair-target" });
    const ticks = TICKS.map((cents) => {
      const tick = el("span", {}, signed(cents, 0));
      tick.style.setProperty("--height", heightOfCents(cents).toFixed(4));
      return tick;
    });
    this.node = el(
      "div",
      { className: "pair-plane" },
      el("div", { className: "ladder-line" }),
      el("div", { className: "ladder-ticks", "aria-hidden": "true" }, ...ticks),
      ...this.ghosts.map((each) => each.node),
      this.lens.node,
      this.target,
      this.word,
      this.hint,
    );
    this.showNothing("");
  }

  /** What the station told of the pair, and where the string to move is named. */
  show(reading, target) {
    const fresh = reading !== this.#reading;
    this.#reading = reading;
    const word = reading.verdict ?? "";
    mark(this.node, "state", "sounding");
    mark(this.node, "verdict", word || null);
    mark(this.node, "known", word ? "yes" : "no");
    this.lens.set(word || "in");
    const [low, high] = reading.either_cents;
    const off = reading.off_cents ?? (word ? (low + high) / 2 : 0); // its side may be known, and no more
    const height = word === "in" ? 0 : heightOfCents(off);
    this.lens.node.style.setProperty("--height", height.toFixed(4));
    this.ghosts.forEach((ghost, at) => {
      ghost.set(at ? "slacken" : "tighten");
      ghost.node.style.setProperty("--height", heightOfCents(reading.either_cents[at]).toFixed(4));
    });
    say(this.word, word || "turn a little");
    say(this.target, target);
    say(this.hint, "");
    if (fresh) this.#follow(reading);
    this.#run();
  }

  /** Nothing sounds, or nothing is listened to. */
  showNothing(hint) {
    this.#reading = null;
    mark(this.node, "state", "silent");
    mark(this.node, "verdict", null);
    say(this.word, "");
    say(this.target, "");
    say(this.hint, hint);
    cancelAnimationFrame(this.#frame);
    this.#frame = 0;
    this.#last = null;
    this.#draw(1, 1);
  }

  #follow(reading) {
    const beat = reading.resolved ? reading.beat_hz : 0;
    mark(this.node, "pulseHz", Math.min(beat, FLASH_LIMIT_HZ).toFixed(2));
    this.#behind = reading.phase_turns === null || beat > FLASH_LIMIT_HZ ? 0 : apart(this.#phase, reading.phase_turns);
  }

  #run() {
    const moves = this.#reading?.resolved && !this.#calm.matches;
    if (moves && !this.#frame) this.#frame = requestAnimationFrame((at) => this.#step(at));
    if (!moves) this.#draw(1, 1);
  }

  #step(at) {
    this.#frame = 0;
    const reading = this.#reading;
    if (!reading?.resolved || this.#calm.matches) {
      this.#last = null;
      this.#draw(1, 1);
      return;
    }
    const passed = this.#last === null ? 0 : Math.min((at - this.#last) / 1000, 0.1);
    this.#last = at;
    // Never faster than may flash, and never backward: what cannot be caught up waits.
    const rate = Math.min(reading.beat_hz, FLASH_LIMIT_HZ);
    const catching = this.#behind / CATCH_UP_S;
    const drawn = Math.max(0, Math.min(rate + catching, FLASH_LIMIT_HZ));
    this.#behind -= Math.sign(this.#behind) * Math.min(Math.abs(this.#behind), Math.abs(drawn - rate) * passed);
    this.#phase = (this.#phase + drawn * passed) % 1;
    const law = pulseAt(reading.beat_hz);
    const now = loudness(this.#phase, reading.depth);
    this.#draw(1 - law.sizeSwing * (1 - now), 1 - law.lightSwing * (1 - now));
    this.#frame = requestAnimationFrame((next) => this.#step(next));
  }

  #draw(size, light) {
    this.lens.path.style.setProperty("transform", `scaleY(${size.toFixed(3)})`);
    this.lens.path.style.setProperty("opacity", light.toFixed(3));
  }
}
