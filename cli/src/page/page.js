(() => {
  const main = document.querySelector("main");
  const drills = [...document.querySelectorAll("section.drill")];
  if (drills.length > 1) {
    const filter = document.createElement("div");
    filter.className = "filter";
    filter.setAttribute("role", "group");
    filter.setAttribute("aria-label", main.dataset.show);
    const choose = (chosen) => {
      for (const drill of drills) drill.hidden = chosen !== null && drill !== chosen;
      for (const button of filter.children) button.setAttribute("aria-pressed", String(button.drill === chosen));
    };
    for (const drill of [null, ...drills]) {
      const button = document.createElement("button");
      button.type = "button";
      button.drill = drill;
      button.textContent = drill ? drill.dataset.name : main.dataset.all;
      button.addEventListener("click", () => choose(drill));
      filter.append(button);
    }
    const nav = document.querySelector("nav");
    nav.after(filter);
    nav.addEventListener("click", (event) => { if (event.target.closest("a")) choose(null); });
    choose(null);
  }
  for (const figure of document.querySelectorAll("figure")) {
    if (!figure.querySelector("svg title")) continue;
    const said = document.createElement("output");
    said.className = "hover";
    said.textContent = main.dataset.point;
    figure.querySelector(".scroll").after(said);
    figure.addEventListener("pointerover", (event) => {
      const title = event.target.querySelector?.(":scope > title");
      if (title) said.textContent = title.textContent;
    });
  }
})();
