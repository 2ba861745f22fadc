// The running order: songs to move by their handles or step by step, to change, and to begin.

import { moveSong, songs, undoSongs } from "./api.js";
import { el, mark, say } from "./dom.js";
import { RowDrag } from "./row_drag.js";
import { withCode } from "./room_code.js";
import { faultLine } from "./sheet.js";
import { SongSheet } from "./song_sheet.js";
import { keyWords, setupWords, songCount } from "./song_words.js";
import { SongsFile } from "./songs_file.js";

const HANDLE = "M4 8H20M4 12H20M4 16H20";
const UP = "M6 15L12 8L18 15";
const DOWN = "M6 9L12 16L18 9";

function icon(path) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS(svg.namespaceURI, "path");
  line.setAttribute("d", path);
  svg.append(line);
  return svg;
}

export class SongsView {
  #state;
  #told = { revision: -1, songs: [], undo: false, now: null };
  #loading = false;
  #drag;

  constructor(root, state) {
    this.#state = state;
    this.count = el("span", { className: "soft" });
    this.list = el("ol", { className: "songs-list" });
    this.fault = faultLine();
    this.sheet = new SongSheet(state, (told) => this.#take(told));
    this.file = new SongsFile(state, (told) => this.#take(told));
    this.undo = el("button", { type: "button", onclick: () => this.#change((code) => undoSongs(state.by, code)) }, "undo");
    const add = el("button", { type: "button", className: "main", onclick: () => this.sheet.open(null) }, "add a song");
    const file = el("button", { type: "button", onclick: () => this.file.open(this.#told) }, "import, export");
    root.append(
      el("header", { className: "songs-head" }, el("h2", {}, "Running order"), this.count),
      this.list,
      el("div", { className: "songs-ending" }, this.fault, this.undo, file, add),
    );
    this.#drag = new RowDrag(this.list, ".song-handle", (row, place) => this.#move(Number(row.dataset.song), place));
    window.addEventListener("hashchange", () => this.#look());
    state.onChange((what) => {
      if (what === "room") this.#look();
    });
  }

  #look() {
    const order = this.#state.room?.order;
    if (location.hash !== "#songs" || !order) return;
    if (order.revision !== this.#told.revision) this.#load();
    else this.#draw();
  }

  async #load() {
    if (this.#loading) return;
    this.#loading = true;
    try {
      this.#take(await songs());
    } catch (error) {
      say(this.fault, error.message);
    } finally {
      this.#loading = false;
    }
  }

  #take(told) {
    this.#told = told;
    say(this.fault, "");
    this.#draw();
  }

  #draw() {
    if (this.#drag.active) return; // a row in somebody's hand stays there
    const { songs: all, undo } = this.#told;
    const now = this.#state.room.order.song?.id ?? null;
    say(this.count, songCount(all));
    this.undo.disabled = !undo;
    const signature = JSON.stringify([all, now, this.#state.noteName("A4")]);
    if (this.list.dataset.signature === signature) return;
    this.list.dataset.signature = signature;
    this.list.replaceChildren(...all.map((song, place) => this.#row(song, place, now, all.length)));
  }

  #row(song, place, now, many) {
    const noteName = (note) => this.#state.noteName(note);
    const setups = Object.entries(song.players).map(([id, text]) => `${this.#state.player(id)?.name ?? id} ${setupWords(text)}`);
    const small = [song.id === now ? "now" : "", keyWords(song, noteName), ...setups].filter(Boolean).join(" · ");
    const step = (path, words, to) => {
      const button = el("button", { type: "button", className: "song-step", "aria-label": `${song.title}: ${words}`, onclick: () => this.#move(song.id, to) }, icon(path));
      button.disabled = to < 1 || to > many;
      return button;
    };
    const row = el(
      "li",
      { className: "song" },
      el("button", { type: "button", className: "song-handle", "aria-label": `move ${song.title}` }, icon(HANDLE)),
      el("button", { type: "button", className: "song-open", onclick: () => this.sheet.open(song) },
        el("strong", {}, `${place + 1} ${song.title}`), el("span", { className: "soft" }, small)),
      step(UP, "one up", place),
      step(DOWN, "one down", place + 2),
    );
    row.dataset.song = song.id;
    mark(row, "now", song.id === now ? "yes" : null);
    return row;
  }

  #move(id, to) {
    this.#change((code) => moveSong(id, to, this.#state.by, code));
  }

  async #change(act) {
    say(this.fault, "");
    try {
      const told = await withCode(act);
      if (told) this.#take(told);
    } catch (error) {
      say(this.fault, error.message);
    } finally {
      delete this.list.dataset.signature; // a row dropped in vain goes back
      this.#draw();
    }
  }
}
