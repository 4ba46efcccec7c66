//! This machine's addresses, and a text as a QR code to be read off the screen.

use crate::ui::styled;
use anstyle::{AnsiColor, Color, Style};
use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};
use std::net::{IpAddr, SocketAddr};

/// Black on white, whatever the terminal's colours are: readers want it so.
const PAPER: Style = Style::new()
    .fg_color(Some(Color::Ansi(AnsiColor::Black)))
    .bg_color(Some(Color::Ansi(AnsiColor::BrightWhite)));

/// Where others on the same network find this machine, IPv4 first; itself alone where there is no network.
#[must_use]
pub fn own_addresses(port: u16) -> Vec<SocketAddr> {
    let all = if_addrs::get_if_addrs().unwrap_or_default();
    let usable = |ip: &IpAddr| match ip {
        IpAddr::V4(ip) => !ip.is_loopback() && !ip.is_link_local(),
        // Those of the link need the name of an interface too, which is another one on each machine.
        IpAddr::V6(ip) => !ip.is_loopback() && !ip.is_unicast_link_local(),
    };
    let mut ips: Vec<IpAddr> = all.iter().map(if_addrs::Interface::ip).filter(usable).collect();
    ips.sort_by_key(|ip| (ip.is_ipv6(), *ip));
    if ips.is_empty() {
        ips.push(IpAddr::from([127, 0, 0, 1]));
    }
    ips.into_iter().map(|ip| SocketAddr::new(ip, port)).collect()
}

/// A text as a QR code of half blocks; empty for a text that no code holds.
#[must_use]
pub fn qr(text: &str) -> String {
    let Ok(code) = QrCode::with_error_correction_level(text, EcLevel::L) else { return String::new() };
    let drawn = code.render::<Dense1x2>().quiet_zone(true).build();
    drawn.lines().map(|line| format!("{}\n", styled(PAPER, line))).collect()
}
