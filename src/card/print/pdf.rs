//! A sheet as PDF, one page, in PDF points of 1/72 inch.

use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, TextStr};

use super::scene::{Item, Rgb};
use super::sheet::{MM_PER_INCH, Sheet};

/// PDF points in an inch.
const POINTS_PER_INCH: f64 = 72.0;

impl Sheet {
    /// The sheet as the bytes of a PDF file.
    ///
    /// The file asks the viewer not to scale it when it is printed.
    pub fn to_pdf(&self) -> Vec<u8> {
        let [catalog, pages, page, content, info] = [1, 2, 3, 4, 5].map(Ref::new);
        let mut pdf = Pdf::new();
        let mut root = pdf.catalog(catalog);
        root.pages(pages);
        root.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
        root.finish();
        pdf.document_info(info).title(TextStr(&self.title));
        pdf.pages(pages).kids([page]).count(1);
        let mut only = pdf.page(page);
        only.parent(pages).media_box(Rect::new(0.0, 0.0, points(self.width_mm), points(self.height_mm)));
        only.contents(content);
        only.resources();
        only.finish();
        pdf.stream(content, &self.content());
        pdf.finish()
    }

    fn content(&self) -> Vec<u8> {
        let mut content = Content::new();
        content.set_line_cap(LineCapStyle::RoundCap).set_line_join(LineJoinStyle::RoundJoin);
        for item in &self.items {
            self.write(&mut content, item);
        }
        content.finish().into_vec()
    }

    fn write(&self, content: &mut Content, item: &Item) {
        let from_below = |y: f64| points(self.height_mm - y);
        match item {
            Item::Fill { rects, rgb } => {
                let [r, g, b] = unit(*rgb);
                content.set_fill_rgb(r, g, b);
                for rect in rects {
                    content.rect(
                        points(rect.x0),
                        from_below(rect.y1),
                        points(rect.width()),
                        points(rect.height()),
                    );
                }
                content.fill_nonzero();
            }
            Item::Stroke { lines, width, rgb } => {
                let [r, g, b] = unit(*rgb);
                content.set_stroke_rgb(r, g, b).set_line_width(points(*width));
                for line in lines {
                    let mut along = line.iter();
                    if let Some(first) = along.next() {
                        content.move_to(points(first.x), from_below(first.y));
                    }
                    for point in along {
                        content.line_to(points(point.x), from_below(point.y));
                    }
                }
                content.stroke();
            }
        }
    }
}

fn points(mm: f64) -> f32 {
    (mm / MM_PER_INCH * POINTS_PER_INCH) as f32
}

fn unit(rgb: Rgb) -> [f32; 3] {
    rgb.map(|channel| f32::from(channel) / 255.0)
}
