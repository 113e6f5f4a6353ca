// Draws the page of a run in the current theme and units.
listenReplay();
byId("units").value = report.units;
keepDrawn(() => {
  units = UNITS[byId("units").value];
  const zoom = charts.time ? zoomWindow() : null;
  drawSpread();
  drawTime();
  drawPath();
  drawMaps();
  drawMoment();
  drawRefusals();
  if (zoom) setZoom(...zoom);
}, ["units"]);
listenTime();
listenMaps();
linkOverTime(["time", "error-path", "cell-path"].filter((id) => charts[id]));
body.dataset.ready = "yes";
