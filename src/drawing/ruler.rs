//! A bar on paper by which a print is checked with a rule.
use super::{
    colours::{INK, PAPER},
    scene::{Align, Box2, Fill, Line, Position, Scene},
    text::Font,
};

/// Height of the bar, and with its figures, paper millimetres.
const THICK: f64 = 2.0;
pub(crate) const HEIGHT: f64 = 5.4;
/// Length of a field of it.
const FIELD: f64 = 10.0;

/// A bar of so many fields of 10 mm, black and white in turn, its top left corner at `x`, `y`; some of its lengths are written below.
///
/// The ink reaches from its one end to the other exactly: no stroke stands out.
pub(crate) fn draw(scene: &mut Scene, [x, y]: Position, fields: u32) {
    let length = FIELD * f64::from(fields);
    let whole = Box2::new(x, y, length, THICK);
    scene.rectangle(whole, None, Some(Fill::opaque(INK)));
    const RIM: f64 = 0.2;
    for white in (1..fields).step_by(2) {
        let left = x + FIELD * f64::from(white);
        let right = (left + FIELD).min(whole.right() - RIM);
        let part = Box2::new(left, y + RIM, right - left, THICK - 2.0 * RIM);
        scene.rectangle(part, None, Some(Fill::opaque(PAPER)));
    }
    let end = format!("{length} mm");
    let (first, half) = (FIELD.to_string(), (length / 2.0).to_string());
    let figures = [
        (0.0, "0"),
        (FIELD, first.as_str()),
        (length / 2.0, half.as_str()),
        (length, end.as_str()),
    ];
    for (mm, words) in figures {
        scene.styled(Line {
            text: words.to_owned(),
            at: [x + mm, y + HEIGHT - 0.6],
            size: 2.3,
            font: Font::Regular,
            align: Align::Middle,
            colour: INK,
            halo: 0.0,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::scene::Shape;

    #[test]
    fn the_ink_is_as_long_as_is_written() {
        let mut scene = Scene::new([200.0, 20.0]);
        draw(&mut scene, [20.0, 5.0], 10);
        let areas = scene.shapes().iter().filter_map(|shape| match shape {
            Shape::Rectangle { area, stroke, .. } => {
                assert!(stroke.is_none(), "a stroke stands out");
                Some(*area)
            }
            _ => None,
        });
        let areas: Vec<Box2> = areas.collect();
        assert_eq!((areas[0].x, areas[0].right()), (20.0, 120.0));
        assert!(areas.iter().all(|area| areas[0].holds(*area)));
    }
}
