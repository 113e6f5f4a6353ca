// Charts of convergence: mixture error and cells over time, histogram of the error, rejected readings.
const overTime = (id, { name, lines, low, high, area }) => {
  const { top, ...head } = headed(id, name, lines.map((line) => line.name));
  return show(id, {
    ...head,
    axisPointer: { lineStyle: { color: colour("accent") } },
    tooltip: { ...common().tooltip, trigger: "axis", valueFormatter: (value) => fixed(value, name.includes("%") ? 2 : 0) },
    grid: plot({ top, bottom: 46 }),
    xAxis: timeAxis({ name: "time [min]", nameLocation: "middle", nameGap: 24, axisPointer: { label: { formatter: ({ value }) => fixed(value, 1) + " min" } } }),
    yAxis: axis({ type: "value", min: low, max: high, splitNumber: 4 }),
    dataZoom: [zoomed([0])],
    series: lines.map((line, index) => ({
      type: "line", id: id + index, name: line.name, color: colour(line.colour), symbol: line.symbol ?? "none", symbolSize: 5,
      step: line.step, lineStyle: { width: 2, type: line.dashed ? [6, 3] : "solid" }, data: line.points, connectNulls: true, emphasis: { disabled: true },
      markArea: index === 0 ? area : undefined, markLine: index === 0 ? momentLine(id, null) : undefined,
    })),
  });
};

// Marks the time of the replay and, in the chart of the error, the settling time.
const momentLine = (id, time_s) => {
  const settled = id !== "error-path" ? null : report.figures.find((figure) => figure.name === "learning.settle_s")?.value;
  const settledLine = {
    xAxis: minutes(settled ?? 0), lineStyle: { color: colour("grey"), type: "dotted" },
    label: { show: true, formatter: "settled", position: "end", align: "left", offset: [4, 16], fontSize: 11, color: colour("soft"), backgroundColor: colour("card"), padding: [0, 2] },
  };
  return {
    silent: true, symbol: "none", animation: false, label: { show: false }, lineStyle: { color: colour("accent"), type: "dashed", width: 1.5 },
    data: [...(settled == null ? [] : [settledLine]), ...(time_s == null ? [] : [{ xAxis: minutes(time_s) }])],
  };
};

// Dwell-weighted rms of learned minus true correction over the visited cells, per cent, at each snapshot.
const remainingErrorOverTime = () => {
  const { true_ln: truth, dwell_s: dwell, visited } = report.map;
  if (truth.length === 0 || dwell.length === 0) return [];
  return report.snapshots.map((snapshot) => {
    let sum = 0, weight = 0;
    snapshot.learned_ln.forEach((learned, cell) => {
      if (!visited[cell] || learned == null || truth[cell] == null) return;
      sum += dwell[cell] * (learned - truth[cell]) ** 2;
      weight += dwell[cell];
    });
    return [minutes(snapshot.time_s), weight > 0 ? 100 * Math.sqrt(sum / weight) : null];
  });
};

// All cells when the snapshot does not record which of them had a lesson.
const cellsWithLesson = (snapshot) => (snapshot.has_lesson.length > 0 ? snapshot.has_lesson : snapshot.learned_ln.map(() => true));

const drawPath = () => {
  const { time_s: times, map_rms: map, closed_loop_rms: loop } = report.convergence;
  const points = (values) => values.map((value, index) => [minutes(times[index]), value == null ? null : 100 * value]);
  const lines = [
    { name: "map alone, steady driving", points: points(map), colour: "orange", symbol: "diamond" },
    { name: "with feedback", points: points(loop), colour: "blue", symbol: "circle" },
    { name: "visited cells, learned minus true", points: remainingErrorOverTime(), colour: "green", dashed: true },
  ].filter((line) => line.points.some(([, value]) => value != null));
  if (lines.length === 0) missing("error-path", "No error over time was recorded in this run.");
  else overTime("error-path", { name: "Mixture error, rms [%]", lines, low: 0, area: band(2, 0) });

  const cells = report.snapshots.map((snapshot) => {
    const known = snapshot.sigma_ln.filter((sigma, cell) => sigma != null && sigma < 0.01 && report.map.visited[cell]);
    return [minutes(snapshot.time_s), cellsWithLesson(snapshot).filter(Boolean).length, known.length];
  });
  if (cells.length === 0) return missing("cell-path", "No snapshots of the map were recorded in this run.");
  overTime("cell-path", {
    name: "Cells", low: 0, lines: [
      { name: "with a lesson", points: cells.map(([time, hasLesson]) => [time, hasLesson]), colour: "blue", step: "end" },
      { name: "visited, known to 1 %", points: cells.map(([time, , known]) => [time, known]), colour: "green", step: "end", dashed: true },
    ],
  });
};

const drawSpread = () => {
  const { edges_ln: edges, ...counts } = report.error_histogram;
  const named = [
    ["base_map", "first calibration, map alone", "orange"], ["learned_map", "learned, map alone", "blue"], ["closed_loop", "last pass, with feedback", "green"],
  ].filter(([key]) => counts[key].some((count) => count > 0));
  if (named.length === 0) return missing("spread", "No histogram of the error was recorded in this run.");
  const last = edges.length - 1;
  // A step line also needs the height of the last bin at its right edge.
  const steps = (bins) => {
    const total = bins.reduce((sum, count) => sum + count, 0);
    return edges.map((edge, index) => [100 * edge, (100 * (bins[Math.min(index, last - 1)] ?? 0)) / total]);
  };
  const { top, ...head } = headed("spread", "Share of cylinder events [%]", named.map(([, name]) => name));
  show("spread", {
    tooltip: { ...common().tooltip, trigger: "axis", formatter: (points) => {
      const bin = Math.min(points[0].dataIndex, last - 1);
      const title = signed(100 * edges[bin], 1) + " to " + signed(100 * edges[bin + 1], 1) + " %";
      return [title, ...points.map((point) => point.marker + escaped(point.seriesName) + " <b>" + fixed(point.value[1], 1) + " %</b>")].join("<br>");
    } },
    ...head,
    grid: plot({ top, bottom: 46 }),
    xAxis: axis({ type: "value", min: 100 * edges[0], max: 100 * edges[last], name: "mixture error [%]: rich to the left, lean to the truth", nameLocation: "middle", nameGap: 24, splitLine: { show: false } }),
    yAxis: axis({ type: "value", min: 0, splitNumber: 4 }),
    series: named.map(([key, name, colourName], index) => ({
      type: "line", step: "end", name, symbol: "none", color: colour(colourName), lineStyle: { width: 2, type: ["solid", "solid", [6, 3]][index] },
      areaStyle: { opacity: key === "closed_loop" ? 0 : 0.18 }, data: steps(counts[key]), emphasis: { disabled: true },
      markArea: index === 0 ? { silent: true, itemStyle: { color: colour("band") }, data: [[{ xAxis: -2 }, { xAxis: 2 }]] } : undefined,
    })),
  });
};

const drawRefusals = () => {
  const sorted = report.refusals.filter((refusal) => refusal.count > 0).sort((one, other) => one.count - other.count);
  const rows = [...sorted.map(({ reason, count }) => ["rejected: " + reason.replaceAll("_", " "), count, "orange"]), ["accepted as a lesson", report.lessons, "blue"]];
  if (sorted.length === 0) return missing("refusals-chart", "No reading was rejected.");
  byId("refusals-chart").style.height = 60 + 24 * rows.length + "px";
  show("refusals-chart", {
    tooltip: { ...common().tooltip, trigger: "item" },
    grid: plot({ left: 200, right: 70, top: 14, bottom: 42 }),
    xAxis: axis({ type: "value", name: "readings", nameLocation: "middle", nameGap: 24 }),
    yAxis: axis({ type: "category", data: rows.map(([name]) => name), axisTick: { show: false } }),
    series: [{
      type: "bar", barWidth: "62%", label: { show: true, position: "right", color: colour("ink") },
      data: rows.map(([name, value, colourName]) => ({ name, value, itemStyle: { color: colour(colourName) } })),
    }],
  });
};
