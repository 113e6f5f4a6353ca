//! After a run: what seems to be wrong, from what the controller and the log can know. The plant's truth is never asked.
//!
//! [`Evidence`] is gathered while the engine runs. [`rank`] weighs it for each [`Cause`]: 1 is where a cause becomes worth saying; codes
//! of the controller and plain measurements count for more than the shape of the corrections. The limits come from drives of
//! many sound engines (engineering judgement): a correction within what sound engines need is no fault.
//!
//! # What a sound installation shows
//!
//! Engines of a fleet differ by what their parts may: injector flow by 5 %, opening delay by 0.1 ms, filling by 15 %, fuel with up to 5 %
//! ethanol, and one owner in ten is wrong about the camshaft. Their corrections at high flow scatter by 6.4 % (standard deviation), those at
//! idle by 20 %. A verdict is spoken only beyond that: 20 % of fuel from the usual at high flow; an opening delay 0.155 ms
//! above the usual that also shows as a rise towards idle, or a fall towards idle 36 % beyond the usual; air after a cut a fifth of a second
//! later than usual, or the mixture after its end half a second; a mixture that the crank feels 2.7 % (five hundred sound engines:
//! `shared/studies/leak.csv`) from what is read.
//!
//! # What these sensors cannot tell apart
//!
//! - **Leak before the sensor, sensor that reads lean.** Both make the engine as rich at idle, and the crank can be asked only there. Away
//!   from idle a leak fades while a sensor stays off, but by less than sound engines differ in flow and filling; so the leak, the more
//!   common, stands first until the correction at high flow is 13 % above the usual, and the other is always named beside it. What
//!   tells them apart is a look at the joints, or the reading in open air.
//! - **Clogged injectors, low flow or displacement as answered, ethanol.** All ask for the same factor everywhere. One finding names
//!   them all; only when it came, or a sample of the fuel, tells.
//! - **Late injectors, another cam than answered.** Both ask for more at idle; the delay is told by its share of short pulses at higher
//!   speed, as far as the filling leaves room for it.
//! - **Sensor far down the pipe, aged sensor**, without fuel cuts. Both answer late, and one finding names them. After a fuel cut an aged sensor needs longer
//!   for the way back to the mixture, from the far end of its range, than for the first sight of air; a far one is as late both ways. A
//!   drive in town has two or three cuts to tell by.
//! - **What the map covers.** Faults within what sound engines show are learned and make no difference to the mixture.
//!
//! `shared/studies/diagnosis.csv` counts which is taken for which.

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
