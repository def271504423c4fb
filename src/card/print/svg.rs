//! A sheet as SVG 1.1, one user unit to a millimetre.

use std::fmt::Write;

use super::scene::{Item, Rgb};
use super::sheet::Sheet;

impl Sheet {
    /// The sheet as the text of an SVG file.
    pub fn to_svg(&self) -> String {
        let (width, height) = (number(self.width_mm), number(self.height_mm));
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
             viewBox=\"0 0 {width} {height}\">\n<title>{}</title>\n\
             <rect width=\"{width}\" height=\"{height}\" fill=\"#ffffff\"/>\n",
            self.title
        );
        for item in &self.items {
            svg.push_str(&element(item));
        }
        svg.push_str("</svg>\n");
        svg
    }
}

fn element(item: &Item) -> String {
    let mut path = String::new();
    match item {
        Item::Fill { rects, rgb } => {
            for r in rects {
                let [x, y, w, h] = [r.x0, r.y0, r.width(), r.height()].map(number);
                let _ = write!(path, "M{x} {y}h{w}v{h}h-{w}z");
            }
            format!("<path fill=\"{}\" d=\"{path}\"/>\n", hex(*rgb))
        }
        Item::Stroke { lines, width, rgb } => {
            for line in lines {
                for (i, point) in line.iter().enumerate() {
                    let command = if i == 0 { 'M' } else { 'L' };
                    let _ = write!(path, "{command}{} {}", number(point.x), number(point.y));
                }
            }
            format!(
                "<path fill=\"none\" stroke=\"{}\" stroke-width=\"{}\" stroke-linecap=\"round\" \
                 stroke-linejoin=\"round\" d=\"{path}\"/>\n",
                hex(*rgb),
                number(*width)
            )
        }
    }
}

fn hex([r, g, b]: Rgb) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Millimetres to a thousandth, without needless zeros.
fn number(value: f64) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{}", rounded + 0.0)
}
