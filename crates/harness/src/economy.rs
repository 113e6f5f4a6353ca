//! Fuel economy by the carbon of the exhaust, as in official tests.

use trimwright_plant::ExhaustSpecies;

/// One mile, m (NIST SP 811).
const MILE_M: f64 = 1609.344;
/// Carbon in a US gallon of petrol, g (40 CFR 600.113-78, from memory).
const CARBON_G_PER_GALLON: f64 = 2421.0;
/// Mass fractions of carbon in hydrocarbons, carbon monoxide and carbon dioxide (40 CFR 600.113-78, from memory).
const CARBON_IN_HC: f64 = 0.866;
const CARBON_IN_CO: f64 = 0.429;
const CARBON_IN_CO2: f64 = 0.273;

/// Miles per US gallon by carbon balance: `2421 / (0.866 HC + 0.429 CO + 0.273 CO2)`, masses in grams per mile (40 CFR 600.113-78, from
/// memory). `None` without exhaust gas.
///
/// ```
/// use trimwright_harness::economy::carbon_balance_mpg;
/// let mut exhaust = trimwright_plant::ExhaustSpecies::default();
/// (exhaust.hc_kg, exhaust.co_kg, exhaust.co2_kg) = (3.0e-3, 30.0e-3, 650.0e-3);
/// // 2421 over 192.9 g of carbon.
/// assert!(carbon_balance_mpg(&exhaust, 1609.344).is_some_and(|mpg| (mpg - 12.55).abs() < 0.01));
/// ```
pub fn carbon_balance_mpg(exhaust: &ExhaustSpecies, distance_m: f64) -> Option<f64> {
    let carbon_g =
        1e3 * (CARBON_IN_HC * exhaust.hc_kg + CARBON_IN_CO * exhaust.co_kg + CARBON_IN_CO2 * exhaust.co2_kg);
    (carbon_g > 0.0).then(|| CARBON_G_PER_GALLON * (distance_m / MILE_M) / carbon_g)
}
