// The choice of a landmark's name from the map's list, or of its coordinates.

const MOST_SHOWN = 60;

/** Numbers that a marks file may hold, as the commands read it. */
const MOST_M = { easting_m: 1e8, northing_m: 1e8, height_m: 1e5 };

/** A landmark in words. */
function wordsOf({ feature, place }) {
  if (feature) return feature;
  const height = place.height_m === undefined ? "" : `, ${place.height_m} m high`;
  return `E ${place.easting_m}, N ${place.northing_m}${height}`;
}

/** Lower case without accents, to compare what is typed with what the map says. */
function plainText(text) {
  return text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
}

/** The features that hold every word typed, those that begin with it first. */
function matching(features, typed) {
  const words = plainText(typed).split(/\s+/).filter(Boolean);
  const fits = features.filter(({ plain }) => words.every((word) => plain.includes(word)));
  const first = (one) => (words.length && one.plain.startsWith(words[0]) ? 0 : 1);
  return fits.sort((one, other) => first(one) - first(other));
}

/** The dialog that asks for a landmark; ask(taken, chosen) gives { feature, place } or null. */
class Chooser {
  constructor(dialog, features) {
    this.dialog = dialog;
    this.features = features.map((one) => ({ ...one, plain: plainText(`${one.name} ${one.kind}`) }));
    this.input = dialog.querySelector("#name");
    this.list = dialog.querySelector("#names");
    this.more = dialog.querySelector("#names-more");
    this.trouble = dialog.querySelector("#place-trouble");
    this.input.addEventListener("input", () => this.show());
    this.input.addEventListener("keydown", (event) => this.key(event));
    this.list.addEventListener("click", (event) => {
      const item = event.target.closest("li");
      if (item) this.take(Number(item.dataset.at));
    });
    dialog.querySelector("#place-take").addEventListener("click", () => this.takePlace());
    dialog.querySelector("#choose-none").addEventListener("click", () => this.end(null));
    dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.end(null);
    });
  }

  ask(taken, now) {
    this.taken = taken;
    this.input.value = "";
    this.trouble.textContent = "";
    const place = (now && now.place) || {};
    for (const name of ["easting_m", "northing_m", "height_m"]) {
      this.dialog.querySelector(`#${name}`).value = place[name] ?? "";
    }
    if (place.crs) this.dialog.querySelector("#crs").value = place.crs;
    this.dialog.querySelector("#by-place").open = Boolean(now && now.place);
    this.show();
    this.dialog.showModal();
    this.input.focus();
    return new Promise((resolve) => (this.answer = resolve));
  }

  end(choice) {
    this.dialog.close();
    this.answer(choice);
  }

  show() {
    this.found = matching(this.features, this.input.value);
    const typed = this.input.value.trim();
    const own = typed && !this.features.some((one) => one.name === typed);
    if (own) this.found.push({ name: typed, kind: "not in the map's list", own: true });
    const shown = this.found.slice(0, MOST_SHOWN - 1).concat(own && this.found.length >= MOST_SHOWN ? this.found.slice(-1) : []);
    this.found = shown;
    this.list.replaceChildren(
      ...shown.map((one, i) => {
        const item = document.createElement("li");
        item.id = `name-${i}`;
        item.dataset.at = i;
        item.setAttribute("role", "option");
        const name = document.createElement("span");
        name.textContent = one.own ? `Take “${one.name}” as it is written` : one.name;
        const kind = document.createElement("span");
        kind.className = "quiet";
        kind.textContent = this.taken.has(one.name) ? `${one.kind}, marked already` : one.kind;
        if (!this.free(one)) item.setAttribute("aria-disabled", "true");
        item.append(name, kind);
        return item;
      }),
    );
    const all = matching(this.features, this.input.value).length;
    const left = all - shown.filter((one) => !one.own).length;
    this.more.textContent = left > 0 ? `and ${left} more: type some letters of the name` : this.features.length ? "" : "The page was made without a map's list. Type the name as the map has it.";
    this.active = shown.findIndex((one) => this.free(one));
    this.point();
  }

  /** Whether a name can be taken: it is not marked yet, and says which thing is meant. */
  free(one) {
    return !this.taken.has(one.name) && one.one !== false;
  }

  point() {
    [...this.list.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === this.active)));
    const item = this.list.children[this.active];
    if (item) {
      this.input.setAttribute("aria-activedescendant", item.id);
      item.scrollIntoView({ block: "nearest" });
    } else this.input.removeAttribute("aria-activedescendant");
  }

  key(event) {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step) {
      event.preventDefault();
      this.active = Math.min(this.list.children.length - 1, Math.max(0, this.active + step));
      this.point();
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (this.active >= 0) this.take(this.active);
    }
  }

  take(at) {
    const one = this.found[at];
    if (!one || !this.free(one)) return;
    this.end({ feature: one.name, place: null });
  }

  takePlace() {
    const place = {};
    for (const [name, words] of [["easting_m", "easting"], ["northing_m", "northing"], ["height_m", "height"]]) {
      const text = this.dialog.querySelector(`#${name}`).value.trim().replace(",", ".");
      if (!text && name === "height_m") continue;
      const number = Number(text);
      const most = MOST_M[name];
      if (!text || !Number.isFinite(number) || Math.abs(number) > most) {
        this.trouble.textContent = `The ${words} is not a number of metres from ${-most} to ${most}.`;
        this.dialog.querySelector(`#${name}`).focus();
        return;
      }
      place[name] = number;
    }
    const crs = this.dialog.querySelector("#crs").value.trim();
    if (crs) place.crs = crs;
    this.end({ feature: null, place });
  }
}
