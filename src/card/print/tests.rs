use image::RgbImage;

use super::*;
use crate::card::layout::{Layout, PointMm, RectMm, TAG_MODULE_MM, TAG_MODULES, VERSION_1, VERSION_2};
use crate::card::tag36h11::CODES;

fn sheet(layout: &Layout, paper: Paper) -> Sheet {
    card_sheet(layout, paper, &[]).unwrap()
}

fn picture(sheet: &Sheet, dpi: u32) -> RgbImage {
    image::load_from_memory(&sheet.to_png(dpi).unwrap()).unwrap().into_rgb8()
}

/// The pixel at a point of the page.
fn pixel(picture: &RgbImage, dpi: u32, point: PointMm) -> [u8; 3] {
    let at = |mm: f64| (mm * f64::from(dpi) / 25.4) as u32;
    picture.get_pixel(at(point.x), at(point.y)).0
}

/// Filled rectangles read back from the SVG text, mm from the page's top left corner.
fn svg_rects(svg: &str) -> Vec<(RectMm, String)> {
    let mut all = Vec::new();
    for line in svg.lines().filter(|line| line.starts_with("<path fill=\"#")) {
        let fill = line.split('"').nth(1).unwrap().to_owned();
        for part in line.split('"').nth(3).unwrap().split('z').filter(|part| !part.is_empty()) {
            let numbers: Vec<f64> = part
                .split(|c: char| !(c.is_ascii_digit() || c == '.'))
                .filter(|text| !text.is_empty())
                .map(|text| text.parse().unwrap())
                .collect();
            all.push((RectMm::at(numbers[0], numbers[1], numbers[2], numbers[3]), fill.clone()));
        }
    }
    all
}

/// Filled rectangles read back from the PDF's page description, turned to mm from the top left corner.
fn pdf_rects(pdf: &[u8], page_height_mm: f64) -> Vec<RectMm> {
    let text = String::from_utf8_lossy(pdf);
    let content = text.split("stream\n").nth(1).unwrap().split("endstream").next().unwrap();
    let rect = |line: &str| {
        let mm: Vec<f64> = line
            .split(' ')
            .filter_map(|n| n.parse::<f64>().ok())
            .map(|points| points / 72.0 * 25.4)
            .collect();
        RectMm::at(mm[0], page_height_mm - mm[1] - mm[3], mm[2], mm[3])
    };
    content.lines().filter(|line| line.ends_with(" re")).map(rect).collect()
}

fn media_box_mm(pdf: &[u8]) -> (f64, f64) {
    let text = String::from_utf8_lossy(pdf).into_owned();
    let numbers = text.split("/MediaBox [").nth(1).unwrap().split(']').next().unwrap();
    let points: Vec<f64> = numbers.split(' ').map(|n| n.parse().unwrap()).collect();
    (points[2] / 72.0 * 25.4, points[3] / 72.0 * 25.4)
}

fn nearly(a: RectMm, b: RectMm) -> bool {
    let off = |p: f64, q: f64| (p - q).abs() < 2e-3;
    off(a.x0, b.x0) && off(a.y0, b.y0) && off(a.x1, b.x1) && off(a.y1, b.y1)
}

/// ISO 216 A4 is 210 x 297 mm; Letter 8.5 x 11 inches; an inch is 25.4 mm and 72 PDF points.
#[test]
fn pages_have_the_size_of_the_paper() {
    let sizes = [(Paper::A4, 210.0, 297.0), (Paper::Letter, 215.9, 279.4), (Paper::Photo, 152.4, 101.6)];
    for (paper, width, height) in sizes {
        let sheet = sheet(&VERSION_1, paper);
        let (w, h) = media_box_mm(&sheet.to_pdf());
        assert!((w - width).abs() < 1e-3 && (h - height).abs() < 1e-3, "{paper:?}: {w} x {h}");
        assert!(sheet.to_svg().contains(&format!("width=\"{width}mm\" height=\"{height}mm\"")));
        let png = picture(&sheet, 254);
        assert_eq!(png.dimensions(), ((width * 10.0_f64).round() as u32, (height * 10.0_f64).round() as u32));
    }
}

#[test]
fn every_patch_lies_in_the_pdf_and_the_svg_where_the_layout_puts_it() {
    for layout in [&VERSION_1, &VERSION_2] {
        let sheet = sheet(layout, Paper::A4);
        let (left, top) = (sheet.trimmed.x0, sheet.trimmed.y0);
        let (pdf, svg) = (pdf_rects(&sheet.to_pdf(), sheet.height_mm), svg_rects(&sheet.to_svg()));
        assert_eq!(pdf.len(), svg.len());
        assert!(pdf.iter().zip(&svg).all(|(a, (b, _))| nearly(*a, *b)), "the two formats differ");
        for patch in layout.patches.iter().filter(|patch| patch.kind != crate::card::layout::PatchKind::Paper)
        {
            let r = patch.rect;
            let wanted = RectMm::new(r.x0 + left, r.y0 + top, r.x1 + left, r.y1 + top);
            let [red, green, blue] = patch.nominal_srgb;
            let colour = format!("#{red:02x}{green:02x}{blue:02x}");
            assert!(svg.iter().any(|(rect, fill)| nearly(*rect, wanted) && *fill == colour), "{patch:?}");
        }
    }
}

#[test]
fn the_scale_bar_is_forty_millimetres_in_every_format() {
    let sheet = sheet(&VERSION_1, Paper::Letter);
    let is_bar = |rect: &RectMm| (rect.width() - 40.0).abs() < 1e-3 && (rect.height() - 0.5).abs() < 1e-3;
    assert!(pdf_rects(&sheet.to_pdf(), sheet.height_mm).iter().any(is_bar));
    assert!(svg_rects(&sheet.to_svg()).iter().any(|(rect, _)| is_bar(rect)));
    let dpi = 254;
    let picture = picture(&sheet, dpi);
    let y = sheet.trimmed.y0 + 96.0;
    let black = (0..picture.width())
        .filter(|&x| pixel(&picture, dpi, PointMm { x: (f64::from(x) + 0.5) / 10.0, y }) == [0; 3]);
    assert!((398..=400).contains(&black.count()));
}

/// Reads the bits of a tag off the picture, at the middle of each module.
fn bits_at(picture: &RgbImage, dpi: u32, x0: f64, y0: f64) -> (u64, bool) {
    let mut bits = 0;
    let mut is_bordered = true;
    for row in 0..TAG_MODULES {
        for column in 0..TAG_MODULES {
            let middle = |i: usize| TAG_MODULE_MM * (i as f64 + 0.5);
            let white = pixel(picture, dpi, PointMm { x: x0 + middle(column), y: y0 + middle(row) })[0] > 128;
            if (1..=6).contains(&row) && (1..=6).contains(&column) {
                bits = bits << 1 | u64::from(white);
            } else {
                is_bordered &= !white;
            }
        }
    }
    (bits, is_bordered)
}

#[test]
fn tags_read_back_from_the_picture_with_their_ids_upright() {
    for layout in [&VERSION_1, &VERSION_2] {
        let sheet = sheet(layout, Paper::A4);
        let picture = picture(&sheet, 300);
        for tag in layout.tags {
            let read = bits_at(&picture, 300, sheet.trimmed.x0 + tag.x0, sheet.trimmed.y0 + tag.y0);
            assert_eq!(read, (CODES[usize::from(tag.id)], true), "tag {}", tag.id);
        }
    }
}

fn slips(ids: impl IntoIterator<Item = u16>) -> Vec<NamedSlip> {
    let name = Some("the tank in the hallway, \u{1f41f}".to_owned());
    ids.into_iter().map(|id| NamedSlip { id, name: name.clone() }).collect()
}

#[test]
fn slips_carry_the_tags_that_were_asked_for() {
    let ids: Vec<u16> = (100..107).collect();
    let sheet = slip_sheet(&slips(ids.iter().copied()), Paper::A4).unwrap();
    let picture = picture(&sheet, 300);
    for (place, &id) in ids.iter().enumerate() {
        let (column, row) = (place % 6, place / 6);
        let at = |low: f64, i: usize| low + 34.0 * i as f64 + 2.0;
        let read = bits_at(&picture, 300, at(sheet.trimmed.x0, column), at(sheet.trimmed.y0, row));
        assert_eq!(read, (CODES[usize::from(id)], true), "slip {id}");
    }
}

#[test]
fn patches_have_their_nominal_colour_and_bare_paper_stays_bare() {
    for (layout, paper) in [(&VERSION_1, Paper::Photo), (&VERSION_2, Paper::Letter)] {
        let sheet = sheet(layout, paper);
        let picture = picture(&sheet, 150);
        let on_page = |p: PointMm| PointMm { x: p.x + sheet.trimmed.x0, y: p.y + sheet.trimmed.y0 };
        for patch in layout.patches {
            for point in patch.rect.grown(-0.6).corners().into_iter().chain([patch.rect.centre()]) {
                assert_eq!(pixel(&picture, 150, on_page(point)), patch.nominal_srgb, "{patch:?}");
            }
        }
        for rect in layout.windows.iter().copied().chain(layout.slips()) {
            for point in rect.grown(-0.6).corners().into_iter().chain([rect.centre()]) {
                assert_eq!(pixel(&picture, 150, on_page(point)), [255; 3]);
            }
        }
    }
}

/// A step of 40 % coverage mixes in linear light: 0.6 of white is sRGB 203 (IEC 61966-2-1).
#[test]
fn a_partly_covered_pixel_has_the_mean_light_of_its_parts() {
    let half = Item::Fill { rects: vec![RectMm::new(1.0, 1.0, 1.14, 2.0)], rgb: [0, 0, 0] };
    let trimmed = RectMm::new(0.0, 0.0, 5.0, 5.0);
    let sheet = Sheet { title: String::new(), width_mm: 5.0, height_mm: 5.0, trimmed, items: vec![half] };
    let picture = picture(&sheet, 254);
    let row: Vec<u8> = (9..13).map(|x| picture.get_pixel(x, 15)[0]).collect();
    assert_eq!(row, [255, 0, 203, 255]);
}

#[test]
fn png_files_record_their_resolution() {
    let bytes = sheet(&VERSION_1, Paper::Photo).to_png(300).unwrap();
    let decoder = ::png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
    let dims = decoder.info().pixel_dims.unwrap();
    assert_eq!((dims.xppu, dims.yppu, dims.unit), (11811, 11811, ::png::Unit::Meter));
}

#[test]
fn crop_marks_and_words_stay_outside_the_card() {
    for (layout, paper) in [(&VERSION_1, Paper::A4), (&VERSION_1, Paper::Letter), (&VERSION_2, Paper::A4)] {
        let sheet = sheet(layout, paper);
        let strokes = sheet.items.iter().filter_map(|item| match item {
            Item::Stroke { lines, .. } => Some(lines.iter().flatten().copied()),
            Item::Fill { .. } => None,
        });
        let points: Vec<PointMm> = strokes.flatten().collect();
        assert!(points.iter().any(|point| point.y > sheet.trimmed.y1 + 20.0), "the lines of use are missing");
        for point in points {
            assert!(!sheet.trimmed.contains(point), "{point:?} lies on the card");
            assert!((3.0..sheet.width_mm - 3.0).contains(&point.x), "{point:?} lies off the page");
            assert!((3.0..sheet.height_mm - 3.0).contains(&point.y), "{point:?} lies off the page");
        }
    }
}

#[test]
fn all_words_can_be_drawn() {
    let words = sheet::HOW_TO_USE.iter().chain(&sheet::HOW_TO_USE_SLIPS);
    assert!(
        words.copied().chain(["ammonia", "nitrite", "nitrate", "pH", "alkalinity"]).all(glyphs::can_draw)
    );
}

#[test]
fn what_does_not_fit_is_refused_with_the_mend() {
    let too_large = card_sheet(&VERSION_2, Paper::Photo, &[]).unwrap_err().to_string();
    assert!(too_large.contains("use --paper a4"), "{too_large}");
    let labels = card_sheet(&VERSION_2, Paper::A4, &["pH".into()]).unwrap_err();
    assert_eq!(labels, PrintError::Labels { labels: 1, windows: 4 });
    assert_eq!(slip_sheet(&slips([100, 99]), Paper::A4).unwrap_err(), PrintError::NotASlip(99));
    assert!(matches!(slip_sheet(&slips(100..200), Paper::Photo), Err(PrintError::TooManySlips { .. })));
    let sheet = sheet(&VERSION_1, Paper::A4);
    assert!(matches!(sheet.to_png(20), Err(PngError::Resolution(20))));
    assert!(matches!(sheet.to_png(1200), Err(PngError::TooLarge { .. })));
}

#[test]
fn the_same_card_is_written_byte_for_byte_the_same() {
    let (a, b) = (sheet(&VERSION_1, Paper::A4), sheet(&VERSION_1, Paper::A4));
    assert_eq!(a.to_pdf(), b.to_pdf());
    assert_eq!(a.to_png(100).unwrap(), b.to_png(100).unwrap());
}
