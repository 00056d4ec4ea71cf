//! A scene as SVG text, which both the pixels and the PDF are made from.
use super::{
    colours::PAPER,
    scene::{Align, Box2, Dash, Fill, Line, Position, Scene, Shape, Stroke},
    text::{self, Font},
};
use std::fmt::Write;

/// The drawing as SVG text, one user unit a scene unit.
pub(crate) fn to_svg(scene: &Scene) -> String {
    let [width, height] = scene.size;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {width} {height}\">\n"
    );
    for shape in scene.shapes() {
        write_shape(&mut svg, shape);
    }
    svg.push_str(END);
    svg
}

/// The drawing as SVG text for other programs, one user unit a millimetre, in its true size.
pub(crate) fn to_svg_in_mm(scene: &Scene) -> String {
    let [width, height] = scene.size;
    let plain = format!("width=\"{width}\" height=\"{height}\"");
    let in_mm = format!("width=\"{width}mm\" height=\"{height}mm\"");
    to_svg(scene).replacen(&plain, &in_mm, 1)
}

const END: &str = "</svg>\n";

/// Appends the shapes of another scene to a drawing.
pub(crate) fn add(svg: &mut String, scene: &Scene) {
    svg.truncate(svg.len() - END.len());
    for shape in scene.shapes() {
        write_shape(svg, shape);
    }
    svg.push_str(END);
}

/// Appends a shape.
fn write_shape(svg: &mut String, shape: &Shape) {
    match shape {
        Shape::Path {
            points,
            closed,
            stroke,
            fill,
        } => {
            let end = if *closed { "Z\"" } else { "\"" };
            write_path(svg, points, end, *stroke, *fill);
        }
        Shape::Circle {
            centre: [x, y],
            radius,
            stroke,
            fill,
        } => {
            put(
                svg,
                format_args!("<circle cx=\"{x:.3}\" cy=\"{y:.3}\" r=\"{radius:.3}\""),
            );
            finish(svg, *stroke, *fill);
        }
        Shape::Rectangle { area, stroke, fill } => {
            svg.push_str("<rect");
            write_area(svg, *area);
            finish(svg, *stroke, *fill);
        }
        Shape::Arrow {
            from,
            to,
            stroke,
            halo,
        } => write_arrow(svg, *from, *to, *stroke, *halo),
        Shape::Text(line) => write_text(svg, line, 0.0),
        Shape::Turned { line, degrees } => write_text(svg, line, *degrees),
        Shape::Picture { key, area } => {
            svg.push_str("<image preserveAspectRatio=\"none\"");
            write_area(svg, *area);
            put(svg, format_args!(" href=\"{key}\"/>\n"));
        }
    }
}

fn put(svg: &mut String, arguments: std::fmt::Arguments<'_>) {
    svg.write_fmt(arguments)
        .expect("writing to a String cannot fail");
}

fn write_points(svg: &mut String, points: &[Position]) {
    for (i, [x, y]) in points.iter().enumerate() {
        put(
            svg,
            format_args!("{}{x:.3} {y:.3}", if i == 0 { 'M' } else { 'L' }),
        );
    }
}

fn write_area(svg: &mut String, area: Box2) {
    put(
        svg,
        format_args!(
            " x=\"{:.3}\" y=\"{:.3}\" width=\"{:.3}\" height=\"{:.3}\"",
            area.x, area.y, area.width, area.height
        ),
    );
}

fn finish(svg: &mut String, stroke: Option<Stroke>, fill: Option<Fill>) {
    match fill {
        None => svg.push_str(" fill=\"none\""),
        Some(fill) => {
            put(svg, format_args!(" fill=\"{}\"", fill.colour.hex()));
            if fill.opacity < 1.0 {
                put(svg, format_args!(" fill-opacity=\"{:.3}\"", fill.opacity));
            }
        }
    }
    if let Some(stroke) = stroke {
        let Stroke {
            colour,
            width,
            dash,
        } = stroke;
        put(
            svg,
            format_args!(
                " stroke=\"{}\" stroke-width=\"{width:.3}\" stroke-linejoin=\"round\"",
                colour.hex()
            ),
        );
        match dash {
            Dash::Solid => {}
            Dash::Dashed => put(
                svg,
                format_args!(
                    " stroke-dasharray=\"{:.3} {:.3}\"",
                    width * 4.0,
                    width * 2.5
                ),
            ),
            Dash::Dotted => put(
                svg,
                format_args!(" stroke-dasharray=\"{:.3} {:.3}\"", width, width * 2.0),
            ),
        }
    }
    svg.push_str("/>\n");
}

fn write_arrow(svg: &mut String, from: Position, to: Position, stroke: Stroke, halo: f64) {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = dx.hypot(dy);
    if length < 1e-6 {
        return;
    }
    let (ux, uy) = (dx / length, dy / length);
    let head = (stroke.width * 5.0).min(length);
    let half = head * 0.4;
    let neck = [to[0] - ux * head, to[1] - uy * head];
    let tip = [
        to,
        [neck[0] - uy * half, neck[1] + ux * half],
        [neck[0] + uy * half, neck[1] - ux * half],
    ];
    if halo > 0.0 {
        let rim = Stroke::solid(PAPER, halo * 2.0);
        let wide = Stroke::solid(PAPER, stroke.width + halo * 2.0);
        write_path(svg, &[from, neck], "\"", Some(wide), None);
        write_path(svg, &tip, "Z\"", Some(rim), None);
    }
    write_path(svg, &[from, neck], "\"", Some(stroke), None);
    write_path(svg, &tip, "Z\"", None, Some(Fill::opaque(stroke.colour)));
}

fn write_path(
    svg: &mut String,
    points: &[Position],
    end: &str,
    stroke: Option<Stroke>,
    fill: Option<Fill>,
) {
    svg.push_str("<path d=\"");
    write_points(svg, points);
    svg.push_str(end);
    finish(svg, stroke, fill);
}

fn write_text(svg: &mut String, line: &Line, degrees: f64) {
    let anchor = match line.align {
        Align::Start => "start",
        Align::Middle => "middle",
        Align::End => "end",
    };
    put(
        svg,
        format_args!(
            "<text x=\"{:.3}\" y=\"{:.3}\" font-family=\"{}\" font-size=\"{:.3}\" text-anchor=\"{anchor}\" \
             fill=\"{}\"",
            line.at[0],
            line.at[1],
            line.font.family(),
            line.size,
            line.colour.hex()
        ),
    );
    if degrees != 0.0 {
        let [x, y] = line.at;
        put(
            svg,
            format_args!(" transform=\"rotate({degrees:.3} {x:.3} {y:.3})\""),
        );
    }
    if line.font == Font::Bold {
        svg.push_str(" font-weight=\"bold\"");
    }
    if line.halo > 0.0 {
        put(
            svg,
            format_args!(
                " paint-order=\"stroke\" stroke=\"{}\" stroke-width=\"{:.3}\" stroke-linejoin=\"round\"",
                PAPER.hex(),
                line.halo * 2.0
            ),
        );
    }
    svg.push('>');
    escape(svg, &line.text);
    svg.push_str("</text>\n");
}

/// Appends a text as XML character data.
fn escape(svg: &mut String, text: &str) {
    for c in text::clean(text).chars() {
        match c {
            '<' => svg.push_str("&lt;"),
            '>' => svg.push_str("&gt;"),
            '&' => svg.push_str("&amp;"),
            '"' => svg.push_str("&quot;"),
            c => svg.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_markup_and_control_characters_stay_text() {
        let mut scene = Scene::new([100.0, 20.0]);
        scene.text([1.0, 10.0], 8.0, Font::Regular, "a<b>&\"c\"\u{1}\u{ffff}");
        let svg = to_svg(&scene);
        assert!(
            svg.contains(">a&lt;b&gt;&amp;&quot;c&quot; </text>"),
            "{svg}"
        );
    }
}
