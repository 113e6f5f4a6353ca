//! Error messages for invalid command lines: argument, value and what is allowed.

use clap::builder::TypedValueParser;
use clap::error::{ContextKind, ErrorKind};
use std::error::Error;
use trimwright_harness::error::InputError;

/// Parser of a whole number from `low` to `high`.
pub(crate) fn whole<T>(low: u64, high: u64) -> impl TypedValueParser<Value = T>
where
    T: TryFrom<u64> + Clone + Send + Sync + 'static,
{
    move |text: &str| {
        let number = text.parse().ok().filter(|number| (low..=high).contains(number));
        number
            .and_then(|number| T::try_from(number).ok())
            .ok_or_else(|| format!("must be a whole number between {low} and {high}"))
    }
}

/// Converts an error of the argument parser.
pub(crate) fn input_error(error: &clap::Error) -> InputError {
    let context = |kind| error.get(kind).map(ToString::to_string).filter(|text| !text.is_empty());
    let value = context(ContextKind::InvalidValue);
    // `--passes <N>` is shown as `--passes`.
    let written = |argument: String| argument.split(" <").next().unwrap_or_default().to_owned();
    let argument = context(ContextKind::InvalidArg).unwrap_or_default();
    let proposal = [ContextKind::SuggestedValue, ContextKind::SuggestedArg, ContextKind::SuggestedSubcommand]
        .into_iter()
        .find_map(context)
        .map_or_else(String::new, |proposed| format!("; did you mean {}?", written(proposed)));
    let plain = |problem: &str| InputError::new(written(argument.clone()), format!("{problem}{proposal}"));
    let with_value = |error: InputError| match &value {
        Some(value) => error.value(value),
        None => error,
    };
    match error.kind() {
        ErrorKind::ValueValidation => {
            let problem = error.source().map_or_else(|| "is not allowed".to_owned(), ToString::to_string);
            with_value(plain(&problem))
        }
        ErrorKind::InvalidValue => {
            let words =
                context(ContextKind::ValidValue).map_or_else(String::new, |words| format!("one of {words}"));
            match (&value, words.as_str()) {
                (None, "") => plain("needs a value"),
                (None, words) => plain(&format!("needs a value, {words}")),
                (Some(_), words) => with_value(plain(&format!("must be {words}"))),
            }
        }
        ErrorKind::UnknownArgument if argument.starts_with('-') => {
            plain("is no option here; --help lists the options")
        }
        ErrorKind::UnknownArgument => plain("is an unexpected argument"),
        ErrorKind::InvalidSubcommand => {
            let named = context(ContextKind::InvalidSubcommand).unwrap_or_default();
            InputError::new(named, format!("is no command; --help lists the commands{proposal}"))
        }
        ErrorKind::ArgumentConflict if argument.is_empty() => {
            let option = context(ContextKind::PriorArg).map_or_else(|| "option".to_owned(), written);
            InputError::new(option, "must come after the command")
        }
        ErrorKind::ArgumentConflict => match context(ContextKind::PriorArg).map(written) {
            Some(prior) if prior != written(argument.clone()) => {
                plain(&format!("cannot be used with {prior}"))
            }
            Some(_) => plain("is given more than once"),
            None => plain("cannot be used with the other options"),
        },
        ErrorKind::MissingRequiredArgument => InputError::new(argument.clone(), "is missing"),
        ErrorKind::TooManyValues => with_value(plain("takes no value")),
        _ => {
            let first = error.to_string().lines().next().unwrap_or_default().to_owned();
            InputError::new("command line", first.strip_prefix("error: ").unwrap_or(&first))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arguments::command;

    fn message_of(words: &str) -> String {
        let words = ["trimwright"].into_iter().chain(words.split(' '));
        input_error(&command().try_get_matches_from(words).expect_err("rejected")).to_string()
    }

    #[test]
    fn each_error_names_the_argument_the_value_and_what_is_allowed() {
        for (words, message) in [
            ("drive --passes 0", "--passes, 0: must be a whole number between 1 and 100"),
            ("drive --passes zero", "--passes, zero: must be a whole number between 1 and 100"),
            (
                "--passes 99999999999999999999",
                "--passes, 99999999999999999999: must be a whole number between 1 and 100",
            ),
            ("compare --passes 101", "--passes, 101: must be a whole number between 1 and 100"),
            ("--seed -1", "--seed, -1: must be a whole number between 0 and 18446744073709551615"),
            ("live --seed x", "--seed, x: must be a whole number between 0 and 18446744073709551615"),
            ("fleet --engines 0", "--engines, 0: must be a whole number between 1 and 1000000"),
            ("fleet --jobs -2", "--jobs, -2: must be a whole number between 0 and 1024"),
            (
                "fleet --learner kalmn",
                "--learner, kalmn: must be one of integral, gradient, kalman, all; did you mean kalman?",
            ),
            ("live --times 3", "--times, 3: must be one of 1, 2, 5, 10, 20, 50"),
            ("drive --units", "--units: needs a value, one of si, us"),
            ("drive --passes", "--passes: needs a value"),
            (
                "drive --pases 3",
                "--pases: is no option here; --help lists the options; did you mean --passes?",
            ),
            ("drive a b", "b: is an unexpected argument"),
            ("drvie", "drvie: is no command; --help lists the commands; did you mean drive?"),
            ("drive --quiet --json", "--quiet: cannot be used with --json"),
            ("drive --seed 1 --seed 2", "--seed: is given more than once"),
            ("drive --quiet=3", "--quiet, 3: takes no value"),
            ("--passes 3 list", "--passes: must come after the command"),
            ("export", "--format <FORMAT>, <RUN>: is missing"),
        ] {
            assert_eq!(message_of(words), message, "{words}");
        }
        assert!(!message_of("drive --passes \u{1b}[31m").contains('\u{1b}'));
    }
}
