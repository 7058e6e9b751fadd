// Which place the answer is looked at from: its view, its dead ground, its sector.
const standAt = (letter) => {
  for (const one of document.querySelectorAll(".from")) {
    if (one.dataset.from === letter) one.removeAttribute("hidden");
    else one.setAttribute("hidden", "");
  }
  for (const one of document.querySelectorAll(".sector, .place")) {
    one.classList.toggle("chosen", one.dataset.place === letter);
  }
  for (const svg of document.querySelectorAll("svg.drawn")) fitSizes(svg);
  show(held);
};

const watchStanding = () => {
  document.addEventListener("change", (event) => {
    if (event.target.name === "stand") standAt(event.target.value);
  });
  // A letter on the map is as good as its button, for those who point.
  document.addEventListener("click", (event) => {
    const place = event.target.closest?.(".place");
    const name = document.body.dataset.state === "answer" ? "stand" : "place";
    if (place) document.querySelector(`input[name="${name}"][value="${place.dataset.place}"]`).click();
  });
};

