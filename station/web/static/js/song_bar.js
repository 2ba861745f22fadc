// Above the tabs on every view: the song that is on, what I have to change for it, and "next".

import { nextSong } from "./api.js";
import { Asking } from "./asking.js";
import { el, mark, say } from "./dom.js";
import { changeWords, drumWords, readyWords } from "./song_words.js";

export class SongBar {
  #state;

  constructor(root, state) {
    this.#state = state;
    this.title = el("strong");
    this.small = el("span", { className: "soft" });
    this.link = el("a", { className: "song-link", href: "#songs" }, this.title, this.small);
    this.next = el("button", { type: "button", className: "song-next", onclick: () => this.#next() }, "next");
    this.mine = el("ul", { className: "song-mine", id: "song-mine", role: "status" });
    this.fault = el("p", { className: "fault", role: "alert" });
    this.asking = new Asking(this.fault);
    this.node = el("section", { className: "song-bar", "aria-label": "running order" }, this.mine, this.fault, el("div", { className: "song-row" }, this.link, this.next));
    root.append(this.node);
    state.onChange((what) => {
      if (what === "room") this.#update();
    });
  }

  #update() {
    const { order } = this.#state.room;
    const noteName = (note) => this.#state.noteName(note);
    const lines = order ? this.#lines(order, noteName) : [];
    this.#sayMine(lines);
    const idle = !order || order.count === 0;
    this.node.hidden = idle && lines.length === 0;
    this.link.hidden = this.next.hidden = idle;
    if (idle) return;
    say(this.title, order.song ? `${order.place} ${order.song.title}` : "running order");
    const ready = readyWords(order);
    const coming = order.coming ? `next: ${order.coming.title}` : "the last song";
    say(this.small, [ready, coming].filter(Boolean).join(" · "));
    mark(this.node, "ready", order.of > 0 && order.ready === order.of ? "yes" : null);
    this.next.disabled = !order.coming;
  }

  #lines(order, noteName) {
    const { me } = this.#state;
    if (!me) return [];
    const lines = changeWords(order.players[me.id], me, noteName);
    const drums = order.song && me.kind === "drums" ? drumWords(order.song.drums, noteName) : "";
    if (drums) lines.push(drums);
    return lines;
  }

  #sayMine(lines) {
    this.mine.hidden = lines.length === 0;
    const text = lines.join("\n");
    if (this.mine.dataset.text === text) return;
    this.mine.dataset.text = text;
    this.mine.replaceChildren(...lines.map((line) => el("li", {}, line)));
  }

  async #next() {
    const after = this.#state.room.order.song?.id ?? 0; // a second tap is not a second song
    await this.asking.ask((code) => nextSong({ after }, this.#state.by, code));
  }
}
