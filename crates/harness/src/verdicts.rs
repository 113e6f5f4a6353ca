//! After a run: what seems to be wrong, from what the controller and the log can know. The plant's truth is never asked.
//!
//! [`Evidence`] is gathered while the engine runs. [`rank`] weighs it for each [`Cause`]: 1 is where a cause becomes worth saying; codes
//! of the controller and plain measurements count for more than the shape of the corrections. The limits come from drives of
//! many sound engines (engineering judgement): a correction within what sound engines need is no fault.

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
pub use pattern::{Pattern, Place};
pub use rank::rank;
