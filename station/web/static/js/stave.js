// A stave of one line: the reference. Each string stands on it, under it or above
// it by its pitch, with its name below. Strings keep their elements, so they move.

import { heightOfCents } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { shape } from "./shapes.js";
import { pretty, rollWords } from "./words.js";

class Seat {
  constructor() {
    this.seed = shape("seed");
    this.name = el("span", { className: "seat-name" });
    this.spoken = el("span", { className: "only-spoken" });
    this.node = el("li", { className: "seat" }, this.seed.node, this.name, this.spoken);
  }

  update(string, sounding) {
    const heard = string.roll !== "not heard";
    const verdict = string.roll === "in" ? "in" : string.verdict;
    this.seed.set(heard ? verdict : "in");
    mark(this.node, "roll", string.roll);
    mark(this.node, "verdict", heard ? verdict : null);
    mark(this.node, "sounding", sounding ? "yes" : null);
    const height = heard && string.roll !== "in" ? heightOfCents(string.cents ?? 0) : 0;
    this.seed.node.style.setProperty("--height", height.toFixed(3));
    say(this.name, pretty(string.note));
    say(this.spoken, `string ${string.string}: ${rollWords(string)}`);
  }
}

export class Stave {
  #seats = new Map();

  constructor() {
    this.node = el("ol", { className: "stave" });
  }

  /** Show these strings, in their order; `soundingString` is the number heard now. */
  update(strings, soundingString = null) {
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
      this.#seats.get(key).update(string, string.string === soundingString);
    });
    mark(this.node, "crowd", strings.length > 8 ? "yes" : null);
  }
}
