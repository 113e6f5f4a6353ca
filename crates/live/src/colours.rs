//! Colours of corrections: from blue (less fuel than the base map) over grey to orange (more).
//!
//! Nine colours at perceptually equal distances: straight lines in the space OKLab (Ottosson, 2020) from blue to light grey to orange,
//! hues that can be distinguished with the usual kinds of colour vision. Without colours each cell still shows its number.

use ratatui::style::Color;

/// The colours in sRGB, and the nearest of the 256 indexed colours.
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

/// Colours that the terminal supports.
///
/// ```
/// use ratatui::style::Color;
/// use trimwright_live::Colours;
/// let quarter_more = 0.223;
/// assert_eq!(Colours::Indexed.for_correction(quarter_more), Some(Color::Indexed(130)));
/// assert_eq!(Colours::TrueColour.for_correction(quarter_more), Some(Color::Rgb(178, 88, 8)));
/// assert_eq!(Colours::None.for_correction(quarter_more), None, "the number is enough");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Colours {
    /// No colours supported or wanted.
    None,
    /// 256 indexed colours.
    Indexed,
    /// 24-bit colours.
    TrueColour,
}

impl Colours {
    /// From the environment variables: none when `NO_COLOR` is not empty (no-color.org), 24-bit when `COLORTERM` is `truecolor` or `24bit`,
    /// else 256.
    pub fn from_environment(no_color: Option<&str>, colorterm: Option<&str>) -> Self {
        match (no_color, colorterm) {
            (Some(word), _) if !word.is_empty() => Self::None,
            (_, Some("truecolor" | "24bit")) => Self::TrueColour,
            _ => Self::Indexed,
        }
    }

    /// Background colour of a correction `ln`, ln of the fuel factor; saturates at +/-0.2.
    pub fn for_correction(self, ln: f32) -> Option<Color> {
        let place = ((ln / END_LN).clamp(-1.0, 1.0) * 4.0).round() as i32 + 4;
        let ((red, green, blue), index) = RAMP.get(usize::try_from(place).ok()?).copied()?;
        match self {
            Self::None => None,
            Self::Indexed => Some(Color::Indexed(index)),
            Self::TrueColour => Some(Color::Rgb(red, green, blue)),
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
    fn steps_are_perceptually_even() {
        let labs = RAMP.map(|(colour, _)| oklab(colour));
        let step = |pair: &[[f64; 3]]| (0..3).map(|k| (pair[0][k] - pair[1][k]).powi(2)).sum::<f64>().sqrt();
        let steps: Vec<f64> = labs.windows(2).map(step).collect();
        let mean = steps.iter().sum::<f64>() / 8.0;
        assert!(steps.iter().all(|step| (step / mean - 1.0).abs() < 0.03), "{steps:?}");
        assert!(labs.windows(2).take(4).all(|pair| pair[0][0] < pair[1][0]), "lighter towards the middle");
        assert!(labs.windows(2).skip(4).all(|pair| pair[0][0] > pair[1][0]), "darker towards the end");
    }

    #[test]
    fn colours_follow_the_environment() {
        assert_eq!(Colours::from_environment(Some("1"), Some("truecolor")), Colours::None);
        assert_eq!(Colours::from_environment(Some(""), Some("truecolor")), Colours::TrueColour);
        assert_eq!(Colours::from_environment(None, None), Colours::Indexed);
        assert_eq!(Colours::None.for_correction(0.1), None);
        assert_eq!(Colours::Indexed.for_correction(-9.0), Some(Color::Indexed(32)));
        assert_eq!(Colours::TrueColour.for_correction(0.0), Some(Color::Rgb(228, 228, 228)));
    }
}
