"use strict";
(function () {
  const at = function (id) { return document.getElementById(id); };
  const stage = at("stage"), bar = at("bar"), wipe = at("wipe"), share = at("share");
  const left = at("left"), right = at("right");
  const figures = Array.from(stage.getElementsByTagName("figure"));
  function show() {
    const over = figures[Number(left.value)], under = figures[Number(right.value)];
    const part = Number(wipe.value);
    figures.forEach(function (figure) {
      figure.classList.toggle("over", figure === over);
      figure.classList.toggle("under", figure === under);
      figure.style.clipPath = "";
    });
    over.classList.toggle("under", over === under);
    if (over !== under) { over.style.clipPath = "inset(0 " + (100 - part) + "% 0 0)"; }
    bar.style.left = part + "%";
    share.textContent = part + " %";
    wipe.setAttribute("aria-valuetext", part + " % " + left.selectedOptions[0].textContent);
  }
  function follow(event) {
    if (event.type === "pointermove" && event.buttons === 0) { return; }
    const box = stage.getBoundingClientRect();
    wipe.value = String(Math.round(100 * (event.clientX - box.left) / box.width));
    show();
  }
  [left, right].forEach(function (choice) { choice.addEventListener("change", show); });
  wipe.addEventListener("input", show);
  stage.addEventListener("pointerdown", follow);
  stage.addEventListener("pointermove", follow);
  stage.addEventListener("dragstart", function (event) { event.preventDefault(); });
  stage.classList.add("wiping");
  at("controls").hidden = false;
  bar.hidden = false;
  show();
})();
