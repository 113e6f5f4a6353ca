//! Colours of corrections: from blue (less fuel than believed) over grey to orange (more).
//!
//! Nine colours an equal step apart to the eye: straight lines of equal chroma in the space OKLab (Ottosson, 2020) from blue to light
//! grey to orange, hues that stay apart for every usual kind of colour vision. Without colours every number still stands in its cell.

use ratatui::style::Color;

/// The colours, and the nearest of the 256 that nearly every terminal has.
const RAMP: [((u8, u8, u8), u8); 9] = [
    ((54, 117, 196), 32),
    ((99, 145, 206), 68),
    ((142, 173, 215), 110),
    ((185, 201, 222), 152),
    ((228, 228, 228), 188),
    ((219, 194, 179), 181),
    ((207, 159, 130), 180),
    ((193, 124, 80), 137),
    ((178, 88, 8), 130),
];
/// Correction at the ends of the ramp, ln.
const END_LN: f32 = 0.2;

/// What colours the terminal takes.
///
/// ```
/// use ratatui::style::Color;
/// use trimwright_live::Colours;
/// let quarter_more = 0.223;
/// assert_eq!(Colours::Indexed.of_correction(quarter_more), Some(Color::Indexed(130)));
/// assert_eq!(Colours::All.of_correction(quarter_more), Some(Color::Rgb(178, 88, 8)));
/// assert_eq!(Colours::None.of_correction(quarter_more), None, "the number says it");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Colours {
    /// None, or none are wanted.
    None,
    /// 256.
    Indexed,
    /// All.
    All,
}

impl Colours {
    /// As the environment has it: none when `NO_COLOR` holds anything (no-color.org), all when `COLORTERM` says so.
    ///
    /// ```
    /// use trimwright_live::Colours;
    /// assert_eq!(Colours::of(Some("1"), Some("truecolor")), Colours::None);
    /// assert_eq!(Colours::of(None, Some("truecolor")), Colours::All);
    /// ```
    pub fn of(no_color: Option<&str>, colorterm: Option<&str>) -> Self {
        match (no_color, colorterm) {
            (Some(word), _) if !word.is_empty() => Self::None,
            (_, Some("truecolor" | "24bit")) => Self::All,
            _ => Self::Indexed,
        }
    }

    /// The colour of a correction.
    ///
    /// ```
    /// use trimwright_live::Colours;
    /// let grey = Colours::Indexed.of_correction(0.0);
    /// assert!(grey.is_some() && grey != Colours::Indexed.of_correction(0.1));
    /// assert_eq!(Colours::None.of_correction(0.1), None);
    /// ```
    pub fn of_correction(self, ln: f32) -> Option<Color> {
        let place = ((ln / END_LN).clamp(-1.0, 1.0) * 4.0).round() as i32 + 4;
        let ((red, green, blue), index) = RAMP.get(usize::try_from(place).ok()?).copied()?;
        match self {
            Self::None => None,
            Self::Indexed => Some(Color::Indexed(index)),
            Self::All => Some(Color::Rgb(red, green, blue)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// sRGB (IEC 61966-2-1) to OKLab, by the matrices that Ottosson published.
    fn oklab((red, green, blue): (u8, u8, u8)) -> [f64; 3] {
        let [r, g, b] = [red, green, blue].map(|byte| {
            let part = f64::from(byte) / 255.0;
            if part <= 0.040_45 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        });
        let l = (0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b).cbrt();
        let m = (0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b).cbrt();
        let s = (0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b).cbrt();
        [
            0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
            1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
            0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
        ]
    }

    /// Source of the space: Ottosson, "A perceptual color space for image processing" (2020).
    #[test]
    fn val_steps_are_even_to_the_eye() {
        let labs = RAMP.map(|(colour, _)| oklab(colour));
        let step = |pair: &[[f64; 3]]| (0..3).map(|k| (pair[0][k] - pair[1][k]).powi(2)).sum::<f64>().sqrt();
        let steps: Vec<f64> = labs.windows(2).map(step).collect();
        let mean = steps.iter().sum::<f64>() / 8.0;
        assert!(steps.iter().all(|step| (step / mean - 1.0).abs() < 0.03), "{steps:?}");
        assert!(labs.windows(2).take(4).all(|pair| pair[0][0] < pair[1][0]), "lighter towards the middle");
        assert!(labs.windows(2).skip(4).all(|pair| pair[0][0] > pair[1][0]), "darker towards the end");
    }

    #[test]
    fn the_environment_decides() {
        assert_eq!(Colours::of(Some("1"), Some("truecolor")), Colours::None);
        assert_eq!(Colours::of(Some(""), Some("truecolor")), Colours::All);
        assert_eq!(Colours::of(None, None), Colours::Indexed);
        assert_eq!(Colours::None.of_correction(0.1), None);
        assert_eq!(Colours::Indexed.of_correction(-9.0), Some(Color::Indexed(32)));
        assert_eq!(Colours::All.of_correction(0.0), Some(Color::Rgb(228, 228, 228)));
    }
}
