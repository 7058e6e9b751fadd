// What is pointed at, or has the focus, lights up wherever it is drawn or told.
const lit = document.getElementById("lit");
let held = null;

const key = (element) =>
  element.dataset.landmark ? `landmark ${element.dataset.landmark}` : `reason ${element.dataset.reason}`;
const linked = (element) => element.closest?.(".spot, .row, .point, .trace");

const words = (element) => {
  const row = [...document.querySelectorAll(`.row[data-landmark="${element.dataset.landmark}"]`)].find((one) => one.checkVisibility());
  if (element.dataset.landmark) return row ? row.innerText.replace(/\s+/g, " ") : element.getAttribute("aria-label");
  return document.querySelector(`.point[data-reason="${element.dataset.reason}"]`).textContent;
};

const show = (element) => {
  for (const old of document.querySelectorAll(".lit")) old.classList.remove("lit");
  lit.hidden = !element;
  if (!element) {
    lit.textContent = "";
    return;
  }
  const { landmark, reason } = element.dataset;
  const landmarks = landmark ? [landmark] : document.querySelector(`li.reason[data-reason="${reason}"]`).dataset.landmarks.split(" ");
  for (const one of document.querySelectorAll(".spot, .row, .point, .trace")) {
    const own = reason ? one.dataset.reason === reason : false;
    one.classList.toggle("lit", own || landmarks.includes(one.dataset.landmark));
  }
  if (lit.textContent !== words(element)) lit.textContent = words(element);
};

const press = () => {
  for (const one of document.querySelectorAll("[data-landmark][aria-pressed], [data-reason][aria-pressed]")) {
    one.setAttribute("aria-pressed", String(held !== null && key(one) === key(held)));
  }
};

const hold = (element) => {
  held = held && key(held) === key(element) ? null : element;
  press();
  show(held || element);
};

// Arrow keys go from one landmark of a picture to the next; Tab leaves them.
const goAmong = (spot, event) => {
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (!step && event.key !== "Home" && event.key !== "End") return;
  event.preventDefault();
  const spots = [...spot.parentNode.querySelectorAll(".spot")].sort((a, b) => a.dataset.landmark - b.dataset.landmark);
  const at = event.key === "Home" ? 0 : event.key === "End" ? spots.length - 1 : spots.indexOf(spot) + step;
  const next = spots[(at + spots.length) % spots.length];
  for (const one of spots) one.setAttribute("tabindex", one === next ? "0" : "-1");
  next.focus();
};

const watchLights = () => {
  document.addEventListener("pointerover", (event) => {
    const found = linked(event.target);
    if (found) show(found);
  });
  document.addEventListener("pointerout", (event) => {
    if (linked(event.target) && !linked(event.relatedTarget || document.body)) show(held);
  });
  document.addEventListener("focusin", (event) => {
    const found = linked(event.target);
    if (found) show(found);
    else show(held);
  });
  document.addEventListener("click", (event) => {
    const found = linked(event.target);
    if (found) hold(found);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      held = null;
      press();
      show(null);
    }
    const spot = event.target.closest?.(".spot");
    if (!spot) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      hold(spot);
    } else goAmong(spot, event);
  });
};

