// What this phone remembers between visits: who its owner is, the room code, how
// notes are named for them, and which cautions they have read: loud tones, loud drums.

function get(key) {
  try {
    return localStorage.getItem(`station.${key}`) ?? "";
  } catch {
    return ""; // storage is off in this browser: ask each time
  }
}

function set(key, value) {
  try {
    localStorage.setItem(`station.${key}`, value);
  } catch {
    return; // as above
  }
}

export const memory = {
  get me() {
    return get("me");
  },
  set me(id) {
    set("me", id);
  },
  get code() {
    return get("code");
  },
  set code(code) {
    set("code", code);
  },
  get names() {
    return get("names");
  },
  set names(system) {
    set("names", system);
  },
  get earsTold() {
    return get("ears") === "yes";
  },
  set earsTold(read) {
    set("ears", read ? "yes" : "");
  },
  get cautioned() {
    return get("cautioned") === "yes";
  },
  set cautioned(read) {
    set("cautioned", read ? "yes" : "");
  },
};
