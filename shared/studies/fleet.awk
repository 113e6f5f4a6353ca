# The main figures of a fleet in both worlds as a table, the harder world first:
# awk -F, -f fleet.awk fleet.csv fleet_undisturbed.csv
# Rows of the first few engines are only for the check.
BEGIN {
    split("integral gradient kalman", learners, " ")
    printf "%-44s%-30s%s\n", "", "with disturbances", "without"
    printf "%-42s", ""
    for (world = 1; world <= 2; world++)
        for (i = 1; i <= 3; i++) printf "%10s", learners[i]
    print ""
}
FNR == 1 { world_now++ }
/^#/ || $3 + 0 < 100 { next }
{
    median[world_now, $2, $1] = $7
    high[world_now, $2, $1] = $9
    mean[world_now, $2, $1] = $11
}
$2 == "stalls" { engines = $3; stalls[world_now, $1] = $11 * $3 }
function line(name, values, figure, unit, factor, digits, world, i, value) {
    printf "%-42s", name
    for (world = 1; world <= 2; world++)
        for (i = 1; i <= 3; i++) {
            value = values[world, figure, learners[i]]
            printf "%10s", value == "inf" ? "never" : sprintf("%." digits "f%s", factor * value, unit)
        }
    print ""
}
function both(name, figure, unit, factor, digits) {
    line(name ", median", median, figure, unit, factor, digits)
    line("  95 % quantile", high, figure, unit, factor, digits)
}
END {
    both("Learned map, error that lasts", "learned_map_lasting_rms", " %", 100, 2)
    both("With feedback, whole last pass", "closed_loop_rms", " %", 100, 2)
    both("Within 2 % after", "settle_s", " s", 1, 0)
    line("Error over that of the offline fit, median", median, "over_offline_fit", "", 1, 2)
    line("Cells within two standard deviations", mean, "within_two_sigma", " %", 100, 0)
    printf "%-42s", "Stalls of " engines " engines"
    for (world = 1; world <= 2; world++)
        for (i = 1; i <= 3; i++) printf "%10d", stalls[world, learners[i]]
    print ""
}
