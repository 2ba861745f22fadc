// The whole band on one screen, for a tablet or a television: every string, whether it is in,
// and how long ago that was heard. Nothing moves on it; complete, all of it is white.

import { heightOfCents } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { driftString, driftVerdict, isGap, togetherWords } from "./drift_words.js";
import { shape } from "./shapes.js";
import { readyWords } from "./song_words.js";
import { ageWords, signed, standing } from "./words.js";

const AGES_EVERY_MS = 5000;
const OUT_SHOWN = 4;

class Cell {
  constructor() {
    this.seed = shape("seed");
    this.name = el("strong");
    this.age = el("span", { className: "cell-age" });
    this.node = el("li", { className: "cell" }, el("div", { className: "cell-pitch" }, this.seed.node), this.name, this.age);
  }

  update(string, name, again, age) {
    const stands = standing(string);
    this.seed.set(stands?.verdict ?? "in");
    mark(this.node, "verdict", stands?.verdict ?? null);
    const height = !stands || stands.verdict === "in" ? 0 : heightOfCents(stands.cents);
    this.seed.node.style.setProperty("--height", height.toFixed(3));
    say(this.name, name);
    mark(this.node, "again", again ? "yes" : null);
    say(this.age, again ? "again" : age);
  }
}

class Card {
  #cells = [];
  #noteName;

  constructor(noteName) {
    this.#noteName = noteName;
    this.name = el("h3");
    this.state = el("p", { className: "card-state" });
    this.cells = el("ol", { className: "cells" });
    this.node = el("article", { className: "card" }, el("header", {}, this.name, this.state), this.cells);
  }

  update(player, told, hasTurn, passedS) {
    const { strings } = player;
    const again = new Set((told?.strings ?? []).filter((each) => each.state === "again").map((each) => each.string));
    const done = strings.filter((each) => each.roll === "in").length;
    say(this.name, player.name);
    mark(this.node, "complete", strings.length > 0 && done === strings.length ? "yes" : null);
    mark(this.node, "turn", hasTurn ? "yes" : null);
    say(this.state, [hasTurn ? "turn" : "", this.#words(player, done)].filter(Boolean).join(" · "));
    while (this.#cells.length < strings.length) {
      this.#cells.push(new Cell());
      this.cells.append(this.#cells.at(-1).node);
    }
    for (const cell of this.#cells.splice(strings.length)) cell.node.remove();
    strings.forEach((string, place) => {
      const heard = string.roll !== "not heard" && string.age_s !== null;
      this.#cells[place].update(string, this.#noteName(string.note), again.has(string.string), heard ? ageWords(string.age_s + passedS) : "");
    });
    this.cells.hidden = strings.length === 0;
    mark(this.node, "bare", strings.length === 0 ? "yes" : null);
    mark(this.cells, "crowd", strings.length > 8 ? "yes" : null);
  }

  #words(player, done) {
    const total = player.strings.length;
    if (player.kind === "drums") return "drums";
    if (total === 0) return player.kind === "fixed" ? "fixed pitch" : "nothing to tune";
    return done === total ? "all in" : `${done} of ${total}`;
  }
}

export class EveryoneView {
  #state;
  #cards = new Map();
  #timer = 0;

  constructor(root, state) {
    this.#state = state;
    this.root = root;
    this.many = el("strong");
    this.rest = el("span", { className: "everyone-rest" });
    this.song = el("p", { className: "everyone-song" });
    this.out = el("ul", { className: "everyone-out", "aria-label": "who is out", role: "status" });
    this.whole = shape("whole");
    this.grid = el("div", { className: "cards" });
    root.append(
      el("header", { className: "everyone-head" }, el("p", { className: "everyone-count", role: "status" }, this.many, this.rest), this.song, this.out, this.whole.node),
      this.grid,
    );
    window.addEventListener("hashchange", () => this.#update());
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    clearTimeout(this.#timer);
    const { room, roomAt } = this.#state;
    if (!room || location.hash !== "#everyone") return;
    // Snapshots come when something changes; ages grow meanwhile.
    const passedS = Math.max(0, (Date.now() - roomAt.getTime()) / 1000);
    this.#sayRoll(room);
    this.#sayOut(room.evening);
    this.#sayCards(room, passedS);
    this.#timer = setTimeout(() => this.#update(), AGES_EVERY_MS);
  }

  #sayRoll({ roll_call: call, order }) {
    mark(this.root, "complete", call.complete ? "yes" : null);
    say(this.many, call.complete ? "everyone is in" : `${call.in} of ${call.total} in`);
    const rest = [];
    if (call.out) rest.push(`${call.out} out`);
    if (call.not_heard) rest.push(`${call.not_heard} not heard`);
    say(this.rest, rest.join(" · "));
    const song = order?.song ? [`${order.place} ${order.song.title}`, readyWords(order)].filter(Boolean).join(": ") : "";
    say(this.song, song);
  }

  // Between songs: who has drifted while the band played, in the place of the song.
  #sayOut(evening) {
    const between = isGap(evening);
    const lines = between ? evening.drifted.slice(0, OUT_SHOWN).map((each) => ({ verdict: driftVerdict(each), text: this.#drift(each) })) : [];
    if (between) lines.unshift({ verdict: null, text: lines.length ? "who is out" : "nobody is out" });
    const more = between ? evening.drifted.length - OUT_SHOWN : 0;
    if (more > 0) lines.push({ verdict: null, text: `and ${more} more` });
    const together = between ? togetherWords(evening) : "";
    if (together) lines.push({ verdict: null, text: together });
    this.song.hidden = between;
    this.out.hidden = !between;
    const signature = JSON.stringify(lines);
    if (this.out.dataset.signature === signature) return;
    this.out.dataset.signature = signature;
    this.out.replaceChildren(...lines.map(({ verdict, text }) => {
      const node = el("li", {}, text);
      mark(node, "verdict", verdict);
      return node;
    }));
  }

  #drift(told) {
    const name = this.#state.player(told.player)?.name ?? told.player;
    return `${name} ${driftString(this.#state, told)} ${driftVerdict(told)} ${signed(told.cents)}`;
  }

  #sayCards({ players, order, turns }, passedS) {
    const tuned = players.filter((each) => each.strings.length || each.kind === "drums" || each.kind === "fixed");
    for (const [id, card] of this.#cards) {
      if (tuned.some((each) => each.id === id)) continue;
      card.node.remove();
      this.#cards.delete(id);
    }
    mark(this.grid, "many", tuned.length > 4 ? "yes" : null);
    for (const player of tuned) {
      if (!this.#cards.has(player.id)) {
        this.#cards.set(player.id, new Card((note) => this.#state.noteName(note)));
        this.grid.append(this.#cards.get(player.id).node);
      }
      const hasTurn = Boolean(turns?.some((line) => line.turn === player.id));
      this.#cards.get(player.id).update(player, order?.players[player.id], hasTurn, passedS);
    }
  }
}
