// Charts over time: one panel per quantity, one zoom and one cursor for all of them.
const lastTime = () => {
  const ends = [report.trace.time_s, report.convergence.time_s, report.snapshots.map((snapshot) => snapshot.time_s)];
  return Math.max(1, ...ends.map((times) => times.at(-1) ?? 0));
};
const timeAxis = (more) => axis({
  type: "value", min: 0, max: minutes(lastTime()), splitLine: { show: false }, axisLabel: { color: colour("soft"), showMaxLabel: false, formatter: (value) => plain(Number(value.toFixed(2))) }, ...more,
});
const zoomed = (panels) => ({
  type: "inside", xAxisIndex: panels, zoomOnMouseWheel: "ctrl", moveOnMouseMove: true, moveOnMouseWheel: false, preventDefaultMouseMove: false, minSpan: 0.3, filterMode: "none",
});

// The mixture error in per cent; a gap where lambda or wanted lambda is unknown.
const mixtureError = () =>
  report.trace.lambda.map((lambda, index) => {
    const wanted = report.trace.wanted_lambda[index];
    return lambda > 0 && wanted > 0 ? 100 * Math.log(lambda / wanted) : null;
  });

const panels = () => {
  const trace = report.trace;
  const [perSpeed, speedUnit] = units.speed;
  const [perPressure, pressureUnit] = units.pressure;
  const scaled = (values, factor) => values.map((value) => (value == null ? null : value * factor));
  const line = (name, values, colourName, digits, unit, broad) => ({ name, values, colourName, digits, unit, broad });
  const errors = mixtureError();
  const most = Math.min(30, reach(errors, 5) > 15 ? reach(errors, 10) : reach(errors, 5));
  return [
    { title: "Speed [" + speedUnit + "]", lines: [
      line("wanted speed", scaled(trace.wanted_speed_m_per_s, perSpeed), "orange", 1, speedUnit, true),
      line("speed", scaled(trace.speed_m_per_s, perSpeed), "blue", 1, speedUnit)], low: 0 },
    { title: "Lambda", lines: [
      line("wanted lambda", trace.wanted_lambda, "orange", 3, "", true), line("lambda", trace.lambda, "blue", 3, "")], low: 0.7, high: 1.3, every: 0.1, tall: 1.2 },
    { title: "Mixture error [%]", lines: [line("error", errors, "red", 1, "%")], low: -most, high: most, every: most > 15 ? 10 : 5, band: 2, tall: 1.2 },
    { title: "Trims [%]", lines: [
      line("long-term trim", trace.long_term_trim_ln.map(percent), "orange", 1, "%", true),
      line("short-term trim", trace.short_term_trim_ln.map(percent), "green", 1, "%")] },
    { title: "Crank speed [rpm]", lines: [line("crank speed", trace.rpm, "blue", 0, "rpm")], low: 0 },
    { title: "MAP [" + pressureUnit + "]", lines: [line("MAP", scaled(trace.map_pa, perPressure), "blue", units.pressureDigits, pressureUnit)] },
  ].map((panel) => ({ ...panel, lines: panel.lines.filter((drawn) => drawn.values.some((value) => value != null)) }))
    .filter((panel) => panel.lines.length > 0);
};

const markLines = () => ({
  silent: true, symbol: "none", lineStyle: { color: colour("grey"), type: "dotted" }, label: { color: colour("soft"), formatter: "{b}", position: "end", rotate: 0, align: "left", offset: [4, 16], fontSize: 11, backgroundColor: colour("card"), padding: [0, 2] },
  data: report.marks.filter((mark) => mark.time_s != null).map((mark) => ({ name: mark.label, xAxis: minutes(mark.time_s) })),
});
const band = (half, low) => ({
  silent: true, itemStyle: { color: colour("band") }, data: [[{ yAxis: low ?? -half }, { yAxis: half }]],
});

const drawTime = () => {
  const drawn = panels();
  if (drawn.length === 0) return missing("time", "No signals over time were recorded in this run.");
  // Lower panels on paper, so that the text below fits the page.
  const [gap, unit] = printing ? [30, 78] : [34, 92];
  let top = 40;
  const grids = drawn.map((panel) => {
    const height = Math.round(unit * (panel.tall ?? 1));
    const grid = plot({ top, height });
    top += height + gap;
    return grid;
  });
  byId("time").style.height = top + 46 + "px";
  const every = drawn.map((_, index) => index);
  const chart = show("time", {
    axisPointer: { link: [{ xAxisIndex: "all" }], lineStyle: { color: colour("accent") } },
    tooltip: { ...common().tooltip, trigger: "axis", formatter: (points) => reading(points[0]?.value[0], drawn) },
    title: drawn.map((panel, index) => ({ text: panel.title, left: 8, top: grids[index].top - 25, textStyle: { fontSize: 12, fontWeight: 600, color: colour("ink") } })),
    legend: drawn.map((panel, index) => ({
      data: panel.lines.map((each) => each.name), right: 16, top: grids[index].top - 26, selectedMode: false, itemHeight: 8, itemWidth: 22, textStyle: { color: colour("soft") },
    })).filter((_, index) => drawn[index].lines.length > 1),
    grid: grids,
    xAxis: drawn.map((_, index) => timeAxis({
      gridIndex: index, ...(index < drawn.length - 1 && { axisLabel: { show: false } }), axisLine: { onZero: false, lineStyle: { color: colour("grey") } },
      name: index === drawn.length - 1 ? "time [min]" : "", nameLocation: "middle", nameGap: 24,
    })),
    yAxis: drawn.map((panel, index) => axis({ type: "value", gridIndex: index, scale: true, min: panel.low, max: panel.high, interval: panel.every, splitNumber: 3 })),
    dataZoom: [zoomed(every), {
      type: "slider", show: !printing, xAxisIndex: every, bottom: 6, height: 16, showDataShadow: false, labelFormatter: (value) => fixed(value, 1), borderColor: colour("line"),
      textStyle: { color: colour("soft") }, filterMode: "none", brushSelect: false,
    }],
    series: drawn.flatMap((panel, index) => panel.lines.map((each, order) => ({
      type: "line", name: each.name, xAxisIndex: index, yAxisIndex: index, symbol: "none", color: colour(each.colourName), connectNulls: false,
      lineStyle: each.broad ? { width: 3.5, opacity: 0.5 } : { width: 1.1 }, emphasis: { disabled: true }, z: each.broad ? 2 : 3,
      data: each.values.map((value, at) => [minutes(report.trace.time_s[at]), value]),
      markArea: order === 0 && panel.band ? band(panel.band) : undefined, markLine: index === 0 && order === 0 ? markLines() : undefined,
    }))),
  });
  return chart;
};

// The sample nearest to a time in minutes.
const sampleAt = (at) => {
  const times = report.trace.time_s;
  let low = 0, high = times.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (minutes(times[middle]) > at) high = middle; else low = middle;
  }
  return at - minutes(times[low]) < minutes(times[high]) - at ? low : high;
};
const readingParts = (at, drawn) => {
  const index = sampleAt(at);
  const parts = drawn.flatMap((panel) => panel.lines).map((each) => {
    const number = (each.unit === "%" ? signed : fixed)(each.values[index], each.digits);
    return [each.name, each.unit ? number + " " + each.unit : number];
  });
  return [["time", clock(report.trace.time_s[index])], ...parts];
};
const reading = (at, drawn) => (at == null ? "" : readingParts(at, drawn).map(([name, value]) => name + " <b>" + value + "</b>").join("<br>"));

// Charts over time share zoom and cursor.
const setCursor = (id, at) => {
  if (at == null) return charts[id].dispatchAction({ type: "updateAxisPointer", currTrigger: "leave" });
  const y = id === "time" ? 60 : byId(id).clientHeight / 2;
  charts[id].dispatchAction({ type: "updateAxisPointer", currTrigger: "mousemove", x: charts[id].convertToPixel({ xAxisIndex: 0 }, at), y });
};
const linkOverTime = (ids) => {
  let following = false;
  const others = (id, follow) => {
    if (following) return;
    following = true;
    ids.filter((each) => each !== id).forEach(follow);
    following = false;
  };
  for (const id of ids) {
    charts[id].on("datazoom", () => {
      const { start, end } = charts[id].getOption().dataZoom[0];
      others(id, (other) => charts[other].dispatchAction({ type: "dataZoom", dataZoomIndex: 0, start, end }));
    });
    charts[id].on("updateAxisPointer", ({ axesInfo }) => others(id, (other) => setCursor(other, axesInfo[0]?.value)));
  }
};

// Zoom by button and key; the window is in per cent of the run.
const zoomWindow = () => {
  const { start, end } = charts.time.getOption().dataZoom[0];
  return [start, end];
};
const setZoom = (start, end) => {
  const width = Math.min(100, Math.max(0.5, end - start));
  const from = Math.min(100 - width, Math.max(0, start));
  charts.time.dispatchAction({ type: "dataZoom", dataZoomIndex: 0, start: from, end: from + width });
};
const ZOOMS = {
  in: (start, end) => [start + (end - start) / 4, end - (end - start) / 4],
  out: (start, end) => [start - (end - start) / 2, end + (end - start) / 2],
  earlier: (start, end) => [start - (end - start) / 3, end - (end - start) / 3],
  later: (start, end) => [start + (end - start) / 3, end + (end - start) / 3],
  all: () => [0, 100],
};
const listenTime = () => {
  if (!charts.time) return;
  let cursor = 0;
  byId("zoom").addEventListener("click", (event) => {
    const how = ZOOMS[event.target.dataset.zoom];
    if (how) setZoom(...how(...zoomWindow()));
  });
  byId("time").addEventListener("keydown", (event) => {
    const how = { "+": "in", "=": "in", "-": "out", Home: "all", PageUp: "earlier", PageDown: "later" }[event.key];
    const move = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (how) setZoom(...ZOOMS[how](...zoomWindow()));
    else if (move) {
      const [start, end] = zoomWindow().map((share) => sampleAt((share / 100) * minutes(lastTime())));
      const step = Math.max(1, Math.round((end - start) / (event.shiftKey ? 20 : 200)));
      cursor = Math.min(end, Math.max(start, cursor + move * step));
      const at = minutes(report.trace.time_s[cursor]);
      setCursor("time", at);
      byId("time-readout").textContent = readingParts(at, panels()).map(([name, value]) => name + " " + value).join(", ");
    } else return;
    event.preventDefault();
  });
};
