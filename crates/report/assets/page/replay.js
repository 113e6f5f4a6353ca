// Replay of the map: at the time of the slider, or running.
let playing = null;

const drawMoment = () => {
  if (report.snapshots.length === 0 || columns() === 0) {
    missing("replay-learned", "No snapshots of the map were recorded in this run.");
    return missing("replay-sigma", "No snapshots of the uncertainty were recorded in this run.");
  }
  const snapshot = report.snapshots[Number(byId("moment").value)];
  const hasLesson = cellsWithLesson(snapshot);
  drawCells("replay-learned", { title: "Learned correction [%]", values: snapshot.learned_ln.map(percent), known: hasLesson, empty: "no lesson yet", scale: correctionScale() });
  drawCells("replay-sigma", { title: UNCERTAINTY, values: snapshot.sigma_ln.map((ln) => (ln == null ? null : 100 * ln)), known: hasLesson,
    empty: "no lesson yet", scale: uncertaintyScale() });
  const count = hasLesson.filter(Boolean).length;
  byId("moment-text").textContent = "at " + clock(snapshot.time_s) + ": " + count + " of " + hasLesson.length + " cells with a lesson";
  for (const id of ["error-path", "cell-path"]) charts[id]?.setOption({ series: [{ id: id + "0", markLine: momentLine(id, snapshot.time_s) }] });
};

const stop = () => {
  clearInterval(playing);
  playing = null;
  byId("play").textContent = "Play";
  byId("play").setAttribute("aria-pressed", "false");
};
const play = () => {
  const slider = byId("moment");
  if (slider.value === slider.max) slider.value = 0;
  byId("play").textContent = "Pause";
  byId("play").setAttribute("aria-pressed", "true");
  drawMoment();
  playing = setInterval(() => {
    slider.value = Number(slider.value) + 1;
    drawMoment();
    if (slider.value === slider.max) stop();
  }, 150);
};
const listenReplay = () => {
  const slider = byId("moment");
  slider.max = Math.max(0, report.snapshots.length - 1);
  slider.value = slider.max;
  slider.addEventListener("input", () => { stop(); drawMoment(); });
  byId("play").disabled = report.snapshots.length < 2;
  byId("play").addEventListener("click", () => (playing ? stop() : play()));
};
