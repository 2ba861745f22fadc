// A stave of one line: the reference. Each string stands on it, under it or above
// it by its pitch, with its name below. Strings keep their elements, so they move.

import { heightOfCents } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { shape } from "./shapes.js";
import { signed, standing, standingWords } from "./words.js";

const NAME_GAP_PX = 4;

class Seat {
  constructor() {
    this.seed = shape("seed");
    this.name = el("span", { className: "seat-name" });
    this.spoken = el("span", { className: "only-spoken" });
    this.offset = el("span", { className: "seat-offset" });
    this.node = el("li", { className: "seat" }, this.seed.node, this.offset, this.name, this.spoken);
  }

  update(string, name, now) {
    const stands = standing(string, now);
    this.seed.set(stands?.verdict ?? "in");
    mark(this.node, "roll", string.roll);
    mark(this.node, "verdict", stands?.verdict ?? null);
    mark(this.node, "sounding", now?.string === string.string ? "yes" : null);
    const height = !stands || stands.verdict === "in" ? 0 : heightOfCents(stands.cents);
    this.seed.node.style.setProperty("--height", height.toFixed(3));
    say(this.name, name);
    const offset = string.offset_cents ? signed(string.offset_cents) : "";
    say(this.offset, offset);
    say(this.spoken, `string ${string.string}: ${standingWords(stands)}`);
  }

  get isTooNarrow() {
    return this.name.offsetWidth + NAME_GAP_PX > this.node.clientWidth;
  }
}

export class Stave {
  #seats = new Map();
  #noteName;
  #written = "";

  /** `noteName` says how a note is named here. */
  constructor(noteName) {
    this.#noteName = noteName;
    this.node = el("ol", { className: "stave" });
    // A frame later, since it may change the height of what is observed.
    new ResizeObserver(() => requestAnimationFrame(() => this.#fitNames())).observe(this.node);
  }

  /** Show these strings, in their order; `now` is their player's reading while one sounds. */
  update(strings, now = null) {
    const names = strings.map((each) => this.#noteName(each.note));
    const keys = strings.map((each, place) => `${each.string}/${place}`);
    for (const key of [...this.#seats.keys()]) {
      if (!keys.includes(key)) {
        this.#seats.get(key).node.remove();
        this.#seats.delete(key);
      }
    }
    strings.forEach((string, place) => {
      const key = keys[place];
      if (!this.#seats.has(key)) {
        const seat = new Seat();
        this.#seats.set(key, seat);
        this.node.append(seat.node);
      }
      this.#seats.get(key).update(string, names[place], now);
    });
    mark(this.node, "offsets", strings.some((each) => each.offset_cents) ? "yes" : null);
    mark(this.node, "crowd", strings.length > 8 ? "yes" : null);
    if (this.#written === names.join(" ")) return;
    this.#written = names.join(" ");
    this.#fitNames();
  }

  // Names wider than their seats stand in two rows, every second one lower.
  #fitNames() {
    if (!this.node.clientWidth) return; // not shown: nothing to measure
    const tooNarrow = [...this.#seats.values()].some((seat) => seat.isTooNarrow);
    mark(this.node, "rows", tooNarrow ? "two" : null);
  }
}
