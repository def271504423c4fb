//! `card`: writes the printable reference card, or tag slips for it.

mod slips;

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::ValueEnum;
use serde_json::json;

use super::{Outcome, Settings};
use crate::card::layout::{Layout, VERSION_1, VERSION_2};
use crate::card::print::{self, Paper, Sheet};
use crate::terms::Analyte;
use crate::terms::text::shown;

/// Arguments of `card`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell card --paper a4 --out card.pdf\n  tintwell card --windows 4 --analytes ammonia,nitrite,nitrate,ph --out card-4.pdf\n  tintwell card --slip 101 --tank hallway\n  tintwell card --slip 102 --chart ammonia-june\n\nSlips save typing: laid on the card of one window, a tank's on the free place to the left, a kit's on\nthe one to the right, they tell `read` and `import` what a photo is of."
)]
pub struct Args {
    /// File to write, or - for standard output [default: tintwell-card.pdf]
    #[arg(long, short, value_name = "FILE")]
    out: Option<PathBuf>,

    /// Kind of file [default: by the ending of --out, else pdf]
    #[arg(long, value_enum)]
    format: Option<FileFormat>,

    /// Paper to print on
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,

    /// Dots per inch of a PNG
    #[arg(long, default_value_t = 600, value_name = "N")]
    dpi: u32,

    /// Windows on the card: 1 for a vial or a strip, 4 for four vials at once
    #[arg(long, value_enum, default_value = "1")]
    windows: Windows,

    /// What is printed above the four windows, from the left, such as ammonia,nitrite,nitrate,ph
    #[arg(long, value_delimiter = ',', value_name = "ANALYTES")]
    analytes: Vec<Analyte>,

    /// Write tag slips with these ids (100 to 586) instead of a card
    #[arg(long, value_delimiter = ',', value_name = "IDS", conflicts_with_all = ["windows", "analytes"])]
    slip: Vec<u16>,

    /// Remember that the slip stands for this tank
    #[arg(long, value_name = "NAME", requires = "slip", conflicts_with = "chart")]
    tank: Option<String>,

    /// Remember that the slip stands for the kit of this chart
    #[arg(long, value_name = "NAME", requires = "slip")]
    chart: Option<String>,

    /// List what slips stand for
    #[arg(long, conflicts_with_all = ["slip", "out", "forget_slip"])]
    list_slips: bool,

    /// Forget what this slip stands for
    #[arg(long, value_name = "ID", conflicts_with_all = ["slip", "out"])]
    forget_slip: Option<u16>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FileFormat {
    Pdf,
    Svg,
    Png,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum PaperArg {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
    /// Photo print of 4 x 6 inches
    Photo,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Windows {
    #[value(name = "1")]
    One,
    #[value(name = "4")]
    Four,
}

/// Writes the card or the slips.
pub fn run(args: &Args, settings: &Settings) -> anyhow::Result<Outcome> {
    if args.list_slips {
        return slips::list(settings);
    }
    if let Some(id) = args.forget_slip {
        return slips::forget(id, settings);
    }
    let (path, format) = target(args)?;
    let sheet = sheet(args, settings)?;
    let bytes = match format {
        FileFormat::Pdf => sheet.to_pdf(),
        FileFormat::Svg => sheet.to_svg().into_bytes(),
        FileFormat::Png => sheet.to_png(args.dpi)?,
    };
    if path.as_os_str() == "-" {
        if settings.json {
            bail!("--json and --out - both want standard output: name a file");
        }
        std::io::stdout().write_all(&bytes).context("cannot write to standard output")?;
        return Ok(Outcome::Done);
    }
    std::fs::write(&path, bytes)
        .with_context(|| format!("cannot write {}: check that its folder exists", path.display()))?;
    if settings.json {
        println!("{}", described(&path, &sheet));
    }
    eprintln!(
        "wrote {}: print it at 100 %, then check with a ruler {}",
        shown(&path),
        if args.slip.is_empty() {
            "that the bar is 40 mm long"
        } else {
            "that the black squares are 16 mm wide"
        }
    );
    Ok(Outcome::Done)
}

fn sheet(args: &Args, settings: &Settings) -> anyhow::Result<Sheet> {
    let paper = match args.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
        PaperArg::Photo => Paper::Photo,
    };
    if !args.slip.is_empty() {
        return Ok(print::slip_sheet(&slips::named(args, settings)?, paper)?);
    }
    let layout: &Layout = match args.windows {
        Windows::One => &VERSION_1,
        Windows::Four => &VERSION_2,
    };
    let labels: Vec<String> = args.analytes.iter().map(|&analyte| printed_name(analyte)).collect();
    Ok(print::card_sheet(layout, paper, &labels)?)
}

fn printed_name(analyte: Analyte) -> String {
    match analyte {
        Analyte::Ph => "pH".into(),
        other => other.to_string(),
    }
}

/// Where to write and what.
fn target(args: &Args) -> anyhow::Result<(PathBuf, FileFormat)> {
    let format = match (args.format, args.out.as_deref().and_then(by_ending)) {
        (Some(asked), Some(ending)) if asked != ending => {
            bail!("--format and the ending of --out disagree: give only one of them")
        }
        (asked, ending) => asked.or(ending).unwrap_or(FileFormat::Pdf),
    };
    let ending = match format {
        FileFormat::Pdf => "pdf",
        FileFormat::Svg => "svg",
        FileFormat::Png => "png",
    };
    let stem = if args.slip.is_empty() { "tintwell-card" } else { "tintwell-slips" };
    Ok((args.out.clone().unwrap_or_else(|| format!("{stem}.{ending}").into()), format))
}

fn by_ending(path: &Path) -> Option<FileFormat> {
    FileFormat::from_str(path.extension()?.to_str()?, true).ok()
}

/// What was written, for programs; millimetres.
fn described(path: &Path, sheet: &Sheet) -> serde_json::Value {
    let trimmed = sheet.trimmed;
    json!({
        "written": path.display().to_string(),
        "title": sheet.title,
        "page_mm": {"width": sheet.width_mm, "height": sheet.height_mm},
        "trimmed_mm": {"x": trimmed.x0, "y": trimmed.y0, "width": trimmed.width(), "height": trimmed.height()},
    })
}
