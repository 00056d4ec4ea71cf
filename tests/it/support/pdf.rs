//! PDFs that are written by hand, object by object.
use std::fmt::Write;

/// A document of these objects, numbered from 1; the first one is its catalogue. `trailer` has further keys of the trailer.
pub fn document(objects: &[Vec<u8>], trailer: &str) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n".to_vec();
    let mut places = String::new();
    for (index, object) in objects.iter().enumerate() {
        _ = writeln!(places, "{:010} 00000 n ", bytes.len());
        bytes.extend(format!("{} 0 obj\n", index + 1).as_bytes());
        bytes.extend(object);
        bytes.extend(b"\nendobj\n");
    }
    let (begin, count) = (bytes.len(), objects.len() + 1);
    bytes.extend(
        format!(
            "xref\n0 {count}\n0000000000 65535 f \n{places}trailer\n<< /Size {count} /Root 1 0 R {trailer} >>\nstartxref\n{begin}\n%%EOF\n"
        )
        .as_bytes(),
    );
    bytes
}

/// A stream with these keys.
pub fn stream(keys: &str, bytes: &[u8]) -> Vec<u8> {
    let head = format!("<< {keys} /Length {} >>\nstream\n", bytes.len());
    [head.as_bytes(), bytes, b"\nendstream"].concat()
}

/// A document of pages that have these keys (such as `/MediaBox`) and one content; `further` are the objects from the fourth on behind it,
/// the pages stand last.
pub fn pages(keys: &[&str], content: Vec<u8>, further: &[Vec<u8>]) -> Vec<u8> {
    let first = 4 + further.len();
    let kids: String = (first..first + keys.len())
        .map(|n| format!("{n} 0 R "))
        .collect();
    let mut objects = vec![
        b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
        format!("<< /Type /Pages /Kids [{kids}] /Count {} >>", keys.len()).into_bytes(),
        content,
    ];
    objects.extend_from_slice(further);
    let page = |keys: &&str| format!("<< /Type /Page /Parent 2 0 R /Contents 3 0 R {keys} >>");
    objects.extend(keys.iter().map(|keys| page(keys).into_bytes()));
    document(&objects, "")
}

/// Where the dark rectangle of a picture begins and ends along both axes, in pixels and parts of one: by how dark its middle row and its
/// middle column are. `None` where there is nothing dark.
pub fn dark_rectangle(picture: &image::RgbImage) -> Option<[[f64; 2]; 2]> {
    let darkness = |x: u32, y: u32| 1.0 - f64::from(picture[(x, y)].0[1]) / 255.0;
    let (width, height) = picture.dimensions();
    let inside = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let inside: Vec<_> = inside.filter(|(x, y)| darkness(*x, *y) > 0.5).collect();
    let middle = |of: fn(&(u32, u32)) -> u32| {
        let (least, most) = (inside.iter().map(of).min()?, inside.iter().map(of).max()?);
        Some((least + most) / 2)
    };
    let (x, y) = (middle(|at| at.0)?, middle(|at| at.1)?);
    let reach = |values: Vec<f64>| {
        let sum: f64 = values.iter().sum();
        let middle: f64 = (0..)
            .zip(&values)
            .map(|(at, v)| (f64::from(at) + 0.5) * v)
            .sum();
        [middle / sum - sum / 2.0, middle / sum + sum / 2.0]
    };
    Some([
        reach((0..width).map(|x| darkness(x, y)).collect()),
        reach((0..height).map(|y| darkness(x, y)).collect()),
    ])
}
