//! Reads what a chart drew: attributes, paths and the table behind it.

/// The values of an attribute, in order.
pub(super) fn values<'a>(drawn: &'a str, attribute: &str) -> Vec<&'a str> {
    let opening = format!(" {attribute}=\"");
    drawn.split(opening.as_str()).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// The drawing without the tables behind it.
fn drawing(drawn: &str) -> &str {
    drawn.split("<details").next().unwrap_or(drawn)
}

/// The tables behind a chart.
pub(super) fn table_of(drawn: &str) -> &str {
    drawn.split_once("<details").map_or("", |(_, table)| table)
}

/// No attribute of the drawing holds what is no number.
pub(super) fn assert_no_nonsense(drawn: &str) {
    for attribute in ["x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "d", "width", "height", "dx", "dy"] {
        for value in values(drawn, attribute) {
            assert!(!value.contains("NaN") && !value.contains("inf"), "{attribute}=\"{value}\"");
            assert!(!value.is_empty(), "an empty {attribute}");
        }
    }
}

/// Each place lies in its drawing, each corner of a path in the picture it runs through.
pub(super) fn assert_inside(drawn: &str) {
    for attribute in ["x", "x1", "x2", "cx"] {
        for share in values(drawing(drawn), attribute).iter().filter_map(|value| value.strip_suffix('%')) {
            let share: f64 = share.parse().unwrap();
            assert!((0.0..=100.0).contains(&share), "{attribute}=\"{share}%\"");
        }
    }
    for svg in drawing(drawn).split("<svg class=\"chart\"").skip(1) {
        let high: f64 = values(svg, "height").first().unwrap().parse().unwrap();
        for attribute in ["y", "y1", "y2", "cy"] {
            for value in values(svg.split("</figure").next().unwrap_or(svg), attribute) {
                let y: f64 = value.parse().unwrap();
                assert!((0.0..=high).contains(&y), "{attribute}=\"{y}\" in a drawing {high} high");
            }
        }
    }
    for picture in drawn.split(" viewBox=\"0 0 ").skip(1) {
        let mut sides = picture.split('"').next().unwrap().split(' ').map(|side| side.parse::<f64>().unwrap());
        let (wide, high) = (sides.next().unwrap(), sides.next().unwrap());
        for (x, y) in corners(values(picture, "d").first().unwrap()) {
            assert!((0.0..=wide).contains(&x) && (0.0..=high).contains(&y), "{x} {y} in {wide} by {high}");
        }
    }
}

/// The corners of each path of a class.
pub(super) fn path_corners(drawn: &str, class: &str) -> Vec<Vec<(f64, f64)>> {
    let opening = format!("<path class=\"{class}\"");
    drawn.split(opening.as_str()).skip(1).map(|path| corners(values(path, "d").first().unwrap())).collect()
}

fn corners(d: &str) -> Vec<(f64, f64)> {
    let numbers: Vec<f64> =
        d.split(['M', 'L', 'Z', ' ']).filter(|part| !part.is_empty()).map(|part| part.parse().unwrap()).collect();
    numbers.chunks(2).map(|pair| (pair[0], pair[1])).collect()
}
