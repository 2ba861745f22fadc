// Between songs, above the tabs on every view: who has drifted, mine first, and the band as a whole.

import { el, mark, say } from "./dom.js";
import { driftString, driftVerdict, isGap, togetherWords } from "./drift_words.js";
import { shape } from "./shapes.js";
import { signed, uncertainty } from "./words.js";

const SHOWN = 4;

class Entry {
  constructor() {
    this.seed = shape("seed");
    this.who = el("strong");
    this.word = el("span", { className: "gap-word" });
    this.cents = el("span", { className: "gap-cents" });
    this.unsure = el("small");
    this.node = el("li", {}, this.seed.node, this.who, this.word, this.cents, this.unsure);
  }

  update(told, who, mine) {
    const verdict = driftVerdict(told);
    mark(this.node, "verdict", verdict);
    mark(this.node, "mine", mine ? "yes" : null);
    this.seed.set(verdict);
    say(this.who, who);
    say(this.word, verdict);
    say(this.cents, signed(told.cents));
    say(this.unsure, uncertainty(told.uncertainty_cents));
  }
}

export class GapBar {
  #state;
  #entries = [];

  constructor(root, state) {
    this.#state = state;
    this.title = el("h3");
    this.list = el("ul");
    this.more = el("p", { className: "soft" });
    this.node = el("section", { className: "gap-bar", "aria-label": "who is out", role: "status", hidden: true }, this.title, this.list, this.more);
    root.append(this.node);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    const { evening } = this.#state.room;
    const between = isGap(evening);
    this.node.hidden = !between;
    if (!between) return;
    const mine = (each) => each.player === this.#state.me?.id;
    const told = [...evening.drifted].sort((one, other) => mine(other) - mine(one));
    say(this.title, told.length ? "who is out" : "nobody is out");
    this.#list(told.slice(0, SHOWN), mine);
    const more = [];
    if (told.length > SHOWN) more.push(`and ${told.length - SHOWN} more`);
    more.push(togetherWords(evening));
    say(this.more, more.filter(Boolean).join(" · "));
    this.more.hidden = this.more.textContent === "";
  }

  #list(told, mine) {
    while (this.#entries.length < told.length) {
      this.#entries.push(new Entry());
      this.list.append(this.#entries.at(-1).node);
    }
    for (const entry of this.#entries.splice(told.length)) entry.node.remove();
    told.forEach((each, place) => this.#entries[place].update(each, this.#who(each, mine(each)), mine(each)));
  }

  #who(told, mine) {
    const which = driftString(this.#state, told);
    return mine ? which : `${this.#state.player(told.player)?.name ?? told.player} ${told.string === null ? "all" : which}`;
  }
}
