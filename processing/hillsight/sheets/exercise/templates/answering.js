// From what was picked to the answer.
const byId = (id) => document.getElementById(id);
const put = (id, piece) => byId(id).insertAdjacentHTML("beforeend", piece);

const sentence = (letter, answer) => {
  const named = answer.name ? `${answer.truth} (${answer.name})` : answer.truth;
  return letter === answer.truth
    ? `Right: the picture was taken from ${named}.`
    : `Not ${letter}: the picture was taken from ${named}.`;
};

const tell = (letter, ticked, answer) => {
  const sum = ticked.reduce((before, number) => before + answer.worth[number], 0);
  byId("verdict-head").textContent = sentence(letter, answer);
  byId("verdict-worth").textContent = ticked.length
    ? `Your reasons are worth ${Math.max(sum, 0)} of ${answer.most}.`
    : `You ticked no reason: they would be worth ${answer.most}.`;
  const against = byId("verdict-against");
  if (letter === answer.truth || !answer.against[letter].length) return;
  const head = document.createElement("p");
  head.textContent = `What rules ${letter} out:`;
  const list = document.createElement("ul");
  for (const words of answer.against[letter].slice(0, 3)) {
    const item = document.createElement("li");
    item.textContent = words;
    list.append(item);
  }
  against.append(head, list);
};

const showAnswer = (letter, ticked, answer) => {
  tell(letter, ticked, answer);
  const { pieces } = answer;
  put("view", pieces.over_picture);
  put("map-under", pieces.under_map);
  put("map-answer", pieces.over_map);
  put("others", pieces.others);
  put("map-choice", pieces.choice);
  put("list", pieces.list);
  put("answer", pieces.answer);
  for (const svg of document.querySelectorAll("svg.drawn")) svg.setAttribute("role", "group");
  for (const one of document.querySelectorAll(".ticked")) {
    one.textContent = ticked.includes(one.dataset.reason) ? "You ticked it." : "You did not tick it.";
    one.closest("li").classList.toggle("is-ticked", ticked.includes(one.dataset.reason));
  }
  document.body.dataset.state = "answer";
  byId("pick").hidden = true;
  for (const id of ["verdict", "list", "answer", "again"]) byId(id).hidden = false;
  watchSizes();
  standAt(answer.truth);
  byId("verdict-head").focus();
  scrollTo({ top: 0 });
};

const watchPick = () => {
  byId("pick").addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = new FormData(event.target);
    const letter = given.get("place");
    if (!letter) {
      byId("missing").textContent = "Pick a place first.";
      event.target.querySelector("input[name=place]").focus();
      return;
    }
    byId("missing").textContent = "";
    try {
      showAnswer(letter, given.getAll("reason"), await unpacked(byId("packed").textContent));
    } catch (error) {
      byId("missing").textContent = `This browser cannot unpack the answer (${error.message}). One of 2023 or later can.`;
    }
  });
  byId("again").addEventListener("click", () => location.reload());
};

