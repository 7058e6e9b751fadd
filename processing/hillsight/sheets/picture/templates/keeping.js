// Marks kept in the browser, so that a closed page loses nothing; and marks saved as a file, and loaded again.

/** What the browser keeps of one photograph's marks; where it keeps nothing, works is false. */
class Keeping {
  constructor(sha256) {
    this.key = `hillsight marks 1 ${sha256}`;
    this.works = true;
    try {
      this.store = window.localStorage;
      this.store.setItem(`${this.key} try`, "1");
      this.store.removeItem(`${this.key} try`);
    } catch {
      this.works = false;
    }
  }

  read() {
    if (!this.works) return null;
    try {
      const kept = JSON.parse(this.store.getItem(this.key));
      const sound = kept && Array.isArray(kept.landmarks) && Array.isArray(kept.lines);
      return sound ? { landmarks: kept.landmarks, lines: kept.lines } : null;
    } catch {
      return null;
    }
  }

  write(now) {
    if (!this.works) return;
    try {
      this.store.setItem(this.key, JSON.stringify(now));
    } catch {
      this.works = false;
    }
  }
}

/** Offer a text as a file to download. */
function download(name, text) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

/** Put a text on the clipboard, or at least choose it in its field; tells whether it was copied. */
async function copied(field) {
  try {
    await navigator.clipboard.writeText(field.value);
    return true;
  } catch {
    field.focus();
    field.select();
    try {
      return document.execCommand("copy");
    } catch {
      return false;
    }
  }
}
