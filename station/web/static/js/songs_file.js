// The running order as a file: saved as a table or as JSON, and read back, all or nothing.

import { readSongs } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { songCount } from "./song_words.js";

const MOST_BYTES = 16 * 1024; // what the station takes in one request

export class SongsFile {
  #state;
  #onTold;
  #revision = 0;

  constructor(state, onTold) {
    this.#state = state;
    this.#onTold = onTold;
    const download = (href, name) => el("a", { className: "button", href, download: name }, name.split(".").at(-1).toUpperCase());
    this.input = el("input", { type: "file", accept: ".csv,.json,.txt,text/csv,application/json", onchange: () => this.#read() });
    this.fault = faultLine();
    this.told = el("p", { className: "told", role: "status" });
    this.sheet = new Sheet(
      "Import and export",
      [
        el("p", {}, "A table from any spreadsheet: its first row names the columns title, key, bass, notes, drums and each player's id. It takes the place of all songs; with a fault in it nothing changes."),
        el("label", { className: "songs-input" }, el("span", {}, "read a CSV or JSON file"), this.input),
        this.fault,
        this.told,
      ],
      [el("div", { className: "files" }, el("span", { className: "soft" }, "save all as"),
        download("/api/v1/songs.csv", "running-order.csv"), download("/api/v1/songs", "running-order.json"))],
    );
  }

  open({ revision }) {
    this.#revision = revision;
    this.input.value = "";
    say(this.fault, "");
    say(this.told, "");
    this.sheet.open();
  }

  async #read() {
    const [file] = this.input.files;
    if (!file) return;
    say(this.fault, "");
    say(this.told, "");
    try {
      const what = this.#written(file.name, await file.text());
      const size = new Blob([JSON.stringify(what)]).size;
      if (size > MOST_BYTES - 200) {
        throw new Error(`${file.name} is ${size} bytes: ${MOST_BYTES} fit, about 270 a song for 60 songs; shorten the notes`);
      }
      const told = await withCode((code) => readSongs({ ...what, revision: this.#revision }, this.#state.by, code));
      if (!told) return;
      this.#revision = told.revision;
      this.#onTold(told);
      say(this.told, `${songCount(told.songs)} read`);
    } catch (error) {
      say(this.fault, error.message);
      this.fault.scrollIntoView({ block: "start" }); // on a small screen it is below what explains
    } finally {
      this.input.value = ""; // the same file, mended, may be chosen again
    }
  }

  #written(name, text) {
    if (!/^\s*[[{]/.test(text)) return { csv: text };
    let read;
    try {
      read = JSON.parse(text);
    } catch {
      throw new Error(`${name} is no JSON`);
    }
    const songs = Array.isArray(read) ? read : read.songs;
    return { songs: Array.isArray(songs) ? songs.map(short) : songs };
  }
}

/** A song without what goes without saying. */
function short(song) {
  if (song === null || typeof song !== "object" || Array.isArray(song)) return song;
  const isEmpty = (value) => value === "" || (typeof value === "object" && value !== null && Object.keys(value).length === 0);
  return Object.fromEntries(Object.entries(song).filter(([key, value]) => key !== "id" && !isEmpty(value)));
}
