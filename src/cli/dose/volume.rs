//! `dose volume`.

use anyhow::Result;

use super::output::Sheet;
use crate::cycle::dosing::net_volume_l;

/// Arguments of `dose volume`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Inner length, cm
    #[arg(long, value_name = "CM")]
    length: f64,

    /// Inner width, cm
    #[arg(long, value_name = "CM")]
    width: f64,

    /// Height of the water, cm
    #[arg(long, value_name = "CM")]
    height: f64,

    /// Litres that gravel, stones and wood displace
    #[arg(long, value_name = "LITRES", default_value_t = 0.0)]
    displaced: f64,
}

/// Reckons the volume.
pub fn reckon(args: &Args) -> Result<Sheet> {
    let volume = net_volume_l(args.length, args.width, args.height, args.displaced)?;
    let mut sheet =
        Sheet::new(format!("A box of {} × {} × {} cm of water:", args.length, args.width, args.height));
    sheet.amount("net_volume_l", volume, "L", "of water");
    sheet.note("gravel holds back about 0.6 L of each litre it fills (common practice)");
    Ok(sheet)
}
