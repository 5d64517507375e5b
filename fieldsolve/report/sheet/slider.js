"use strict";
(function () {
  const pictures = JSON.parse(document.getElementById("slider-pictures").textContent);
  const [image, range, words, button] = ["slider-image", "slider-range", "slider-words", "slider-play"].map((id) => document.getElementById(id));
  let timer = null;
  function show(k) {
    range.value = k;
    image.src = pictures[k].image;
    words.textContent = pictures[k].words;
  }
  function stop() {
    clearInterval(timer);
    timer = null;
    button.textContent = "play";
  }
  range.addEventListener("input", () => { stop(); show(Number(range.value)); });
  button.addEventListener("click", () => {
    if (timer !== null) { stop(); return; }
    if (Number(range.value) >= pictures.length - 1) { show(0); }
    button.textContent = "stop";
    timer = setInterval(() => {
      const next = Number(range.value) + 1;
      if (next >= pictures.length) { stop(); } else { show(next); }
    }, 125);
  });
  show(0);
}());
