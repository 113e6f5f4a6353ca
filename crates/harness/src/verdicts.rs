//! Diagnosis after a run, from the controller's state and the log. The plant's truth is not used.
//!
//! [`Evidence`] is collected while the engine runs. [`rank`] gives each [`Cause`] a weight; from 1 on it is reported. Trouble codes and
//! direct measurements weigh more than the pattern of the corrections. Limits come from drives of many fault-free engines (engineering
//! judgement): a correction within their range is not a fault.
//!
//! # Range of fault-free engines
//!
//! Engines of a fleet differ within the tolerances of their parts: injector flow by 5 %, opening delay by 0.1 ms, filling by 15 %, up to 5
//! % ethanol in the fuel, and one owner in ten answers the wrong camshaft. Their corrections at high flow have a standard deviation of 8 %,
//! of 10 % with a hot cam. A cause is reported only beyond that: 22 % of fuel from the typical value at high flow; an opening delay 0.115
//! ms above the typical one together with a rise towards idle of 10 %, or 0.17 ms below it with a fall towards idle of 22 %; air after a
//! fuel cut 0.2 s later than typical, or the mixture after its end 0.5 s later; a mixture that by the torque response differs by 3.3 % from
//! the reading
//! (500 fault-free engines: `shared/studies/leak.csv`).
//!
//! # Causes that these sensors cannot distinguish
//!
//! - **Leak before the sensor, sensor that reads lean.** Both make the engine equally rich at idle, and the torque response can be measured
//!   only there. Away from idle a leak fades while a sensor offset stays, but by less than fault-free engines differ in flow and filling.
//!   The leak, which is more common, is named first unless the correction at high flow is 13 % above the typical one, and the other is
//!   always named beside it. Inspection of the joints, or the reading in open air, distinguishes them.
//! - **Clogged injectors, wrong answer on flow or displacement, ethanol.** All need the same factor everywhere. One finding names them all;
//!   only the time of the change or a fuel sample distinguishes them.
//! - **Late injectors, another cam than answered.** Both need more fuel at idle; the delay is identified by its share of short pulses at
//!   higher speed, as far as the filling allows.
//! - **Sensor far down the pipe, aged sensor**, without fuel cuts. Both respond late, and one finding names them. After a fuel cut an aged
//!   sensor needs longer to return to the mixture, from the far end of its range, than to show air; a distant one is equally late both
//!   ways. A drive in town has two or three usable cuts.
//! - **Small faults.** Faults within the range of fault-free engines are learned and leave no mixture error.
//!
//! `shared/studies/diagnosis.csv` counts the confusions.

mod cause;
mod evidence;
mod findings;
mod mean;
mod pattern;
mod rank;

pub use cause::Cause;
pub use evidence::{Evidence, PERIOD_S};
pub use findings::findings;
pub use mean::Mean;
pub use pattern::{FlowCorrection, Pattern};
pub use rank::rank;
