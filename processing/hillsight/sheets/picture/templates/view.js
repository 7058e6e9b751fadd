// The picture in halves and quarters, and where it lies on the screen.

/** A picture at its own size and halved again and again: to read pixels from, and to paint from. */
class Pyramid {
  /** image: decoded; width, height: of the file in pixels, of which the image may hold fewer. */
  static async of(image, width, height) {
    const pyramid = new Pyramid();
    pyramid.width = width;
    pyramid.height = height;
    pyramid.ratio = image.naturalWidth / width;
    pyramid.levels = [];
    pyramid.bitmaps = [];
    let source = image;
    let w = image.naturalWidth;
    let h = image.naturalHeight;
    for (;;) {
      const canvas = document.createElement("canvas");
      canvas.width = w;
      canvas.height = h;
      const context = canvas.getContext("2d", { willReadFrequently: true });
      const across = source === image ? w : 2 * w;
      const down = source === image ? h : 2 * h;
      context.drawImage(source, 0, 0, across, down, 0, 0, w, h);
      pyramid.levels.push(context);
      pyramid.bitmaps.push(await createImageBitmap(canvas).catch(() => canvas));
      if (w < 256 || h < 128) return pyramid;
      source = canvas;
      w = Math.floor(w / 2);
      h = Math.floor(h / 2);
    }
  }

  /** Red, green, blue, opacity of a box of a level, as far as it lies on the picture. */
  pixels(level, left, top, width, height) {
    return this.levels[level].getImageData(left, top, width, height).data;
  }

  size(level) {
    const canvas = this.levels[level].canvas;
    return [canvas.width, canvas.height];
  }

  /** Paint the picture: a point x, y of it goes to shift_x + scale * x, shift_y + scale * y. */
  paint(context, shift_x, shift_y, scale, wide, high) {
    let level = 0;
    while (level + 1 < this.bitmaps.length && 2 ** (level + 1) * scale <= this.ratio) level += 1;
    const bitmap = this.bitmaps[level];
    const each = (scale * 2 ** level) / this.ratio;
    const left = Math.max(0, Math.floor(-shift_x / each) - 1);
    const top = Math.max(0, Math.floor(-shift_y / each) - 1);
    const right = Math.min(bitmap.width, Math.ceil((wide - shift_x) / each) + 1);
    const bottom = Math.min(bitmap.height, Math.ceil((high - shift_y) / each) + 1);
    if (right <= left || bottom <= top) return;
    context.imageSmoothingEnabled = each < 3;
    context.drawImage(
      bitmap, left, top, right - left, bottom - top,
      shift_x + left * each, shift_y + top * each, (right - left) * each, (bottom - top) * each,
    );
  }
}

/** A frame on the screen that shows part of a picture; lengths in CSS pixels. */
class View {
  constructor(frame, canvas, pyramid, moved) {
    this.frame = frame;
    this.canvas = canvas;
    this.pyramid = pyramid;
    this.moved = moved;
    this.x = 0;
    this.y = 0;
    this.scale = 0;
    new ResizeObserver(() => this.resized()).observe(frame);
    this.resized();
  }

  resized() {
    const box = this.frame.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const middle = this.scale ? this.toPicture(this.width / 2, this.height / 2) : null;
    const whole = !this.scale || this.scale <= this.least * 1.001;
    this.width = this.frame.clientWidth;
    this.height = this.frame.clientHeight;
    this.dense = Math.min(2, window.devicePixelRatio || 1);
    this.least = Math.min(this.width / this.pyramid.width, this.height / this.pyramid.height);
    this.most = Math.max(12, 4 * this.least);
    for (const canvas of this.frame.querySelectorAll("canvas")) {
      canvas.width = Math.round(this.width * this.dense);
      canvas.height = Math.round(this.height * this.dense);
    }
    if (whole || !middle) this.showWhole();
    else {
      this.x = this.width / 2 - this.scale * middle[0];
      this.y = this.height / 2 - this.scale * middle[1];
      this.settle();
    }
  }

  toPicture(x, y) {
    return [(x - this.x) / this.scale, (y - this.y) / this.scale];
  }

  toView(x, y) {
    return [this.x + this.scale * x, this.y + this.scale * y];
  }

  showWhole() {
    this.scale = this.least;
    this.settle();
  }

  /** Enlarge about a point of the frame; what is at from_x, from_y comes to lie there. */
  zoomAt(x, y, times, from_x = x, from_y = y) {
    const scale = Math.min(this.most, Math.max(this.least, this.scale * times));
    this.x = x - ((from_x - this.x) * scale) / this.scale;
    this.y = y - ((from_y - this.y) * scale) / this.scale;
    this.scale = scale;
    this.settle();
  }

  panBy(x, y) {
    this.x += x;
    this.y += y;
    this.settle();
  }

  /** Bring a point of the picture into the middle; closer if the picture is small. */
  bringIn(x, y) {
    this.scale = Math.min(this.most, Math.max(this.scale, 0.5, this.least));
    this.x = this.width / 2 - this.scale * x;
    this.y = this.height / 2 - this.scale * y;
    this.settle();
  }

  settle() {
    // Whole, it lies in the middle; larger, any point of it can be brought there.
    const place = (shift, size, room) =>
      this.scale <= this.least * 1.001 ? (room - size) / 2 : Math.min(room / 2, Math.max(room / 2 - size, shift));
    this.x = place(this.x, this.scale * this.pyramid.width, this.width);
    this.y = place(this.y, this.scale * this.pyramid.height, this.height);
    if (this.wanted) return;
    this.wanted = true;
    requestAnimationFrame(() => {
      this.wanted = false;
      this.paint();
      this.moved();
    });
  }

  paint() {
    const context = this.canvas.getContext("2d");
    const d = this.dense;
    context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    this.pyramid.paint(context, this.x * d, this.y * d, this.scale * d, this.canvas.width, this.canvas.height);
  }
}
