//! How the window looks: a sheet of paper on a neutral ground. All greys, since the eye judges tone
//! here; one accent, for what is selected or wants care.

use crate::report::plan::Palette;
use egui::{Color32, CornerRadius, FontFamily, FontId, Stroke, TextStyle};

/// Colours of the sheet.
#[derive(Debug, Clone, Copy)]
pub struct Theme {
    /// Whether it is the darkened one.
    pub dark: bool,
    /// The page.
    pub page: Color32,
    /// Around pictures: middle grey, so that they are judged alike on either page.
    pub surround: Color32,
    /// Text and lines.
    pub ink: Color32,
    /// Labels.
    pub mid: Color32,
    /// Rules.
    pub rule: Color32,
    /// A cell under the pointer or being typed into.
    pub field: Color32,
    /// The row at work.
    pub row: Color32,
    /// What is selected, and cautions.
    pub accent: Color32,
    /// Of the drawings.
    pub drawing: Palette,
}

const PAPER: Theme = Theme {
    dark: false,
    page: Color32::from_gray(221),
    surround: Color32::from_gray(119),
    ink: Color32::from_gray(24),
    mid: Color32::from_gray(92),
    rule: Color32::from_gray(176),
    field: Color32::from_gray(238),
    row: Color32::from_gray(232),
    accent: Color32::from_rgb(178, 52, 12),
    drawing: Palette::PAPER,
};

const DARKENED: Theme = Theme {
    dark: true,
    page: Color32::from_gray(42),
    surround: Color32::from_gray(82),
    ink: Color32::from_gray(228),
    mid: Color32::from_gray(164),
    rule: Color32::from_gray(84),
    field: Color32::from_gray(60),
    row: Color32::from_gray(54),
    accent: Color32::from_rgb(246, 134, 84),
    drawing: Palette::DARK,
};

/// Sizes of type.
pub const TITLE: f32 = 19.0;
/// Cells and readings.
pub const BODY: f32 = 13.0;
/// Labels and notes.
pub const SMALL: f32 = 11.5;

impl Theme {
    /// The paper theme, or the darkened one.
    pub fn new(dark: bool) -> Self {
        if dark { DARKENED } else { PAPER }
    }

    /// Sets egui's own style to the sheet's: flat, square, without shadows. Nothing moves by itself.
    pub fn apply(&self, ctx: &egui::Context) {
        let theme = *self;
        let mut visuals = if self.dark {
            egui::Visuals::dark()
        } else {
            egui::Visuals::light()
        };
        visuals.panel_fill = theme.page;
        visuals.window_fill = theme.page;
        visuals.window_stroke = Stroke::new(1.0, theme.rule);
        visuals.window_shadow = egui::Shadow::NONE;
        visuals.popup_shadow = egui::Shadow::NONE;
        visuals.window_corner_radius = CornerRadius::ZERO;
        visuals.menu_corner_radius = CornerRadius::ZERO;
        visuals.extreme_bg_color = theme.field;
        visuals.faint_bg_color = theme.row;
        visuals.override_text_color = Some(theme.ink);
        visuals.selection.bg_fill = theme.accent.gamma_multiply(0.35);
        visuals.selection.stroke = Stroke::new(1.0, theme.accent);
        let w = &mut visuals.widgets;
        for each in [
            &mut w.noninteractive,
            &mut w.inactive,
            &mut w.hovered,
            &mut w.active,
            &mut w.open,
        ] {
            each.corner_radius = CornerRadius::ZERO;
            each.expansion = 0.0;
            each.bg_fill = theme.page;
            each.weak_bg_fill = theme.page;
            each.bg_stroke = Stroke::NONE;
            each.fg_stroke = Stroke::new(1.0, theme.ink);
        }
        w.noninteractive.bg_stroke = Stroke::new(1.0, theme.rule);
        w.hovered.weak_bg_fill = theme.field;
        w.hovered.bg_fill = theme.field;
        w.active.weak_bg_fill = theme.field;
        w.active.bg_stroke = Stroke::new(1.0, theme.accent);
        w.hovered.bg_stroke = Stroke::new(1.0, theme.rule);
        ctx.set_theme(if self.dark {
            egui::Theme::Dark
        } else {
            egui::Theme::Light
        });
        ctx.set_visuals(visuals);
        ctx.all_styles_mut(|style| {
            let font = |size| FontId::new(size, FontFamily::Proportional);
            style.text_styles = [
                (TextStyle::Heading, font(TITLE)),
                (TextStyle::Body, font(BODY)),
                (TextStyle::Button, font(BODY)),
                (TextStyle::Small, font(SMALL)),
                (
                    TextStyle::Monospace,
                    FontId::new(SMALL, FontFamily::Monospace),
                ),
            ]
            .into();
            style.spacing.item_spacing = egui::vec2(8.0, 4.0);
            style.spacing.button_padding = egui::vec2(5.0, 2.0);
            style.spacing.interact_size.y = 20.0;
            // Nothing ever blinks, not even the place in a text.
            style.visuals.text_cursor.blink = false;
            style.animation_time = 0.0;
        });
    }
}

/// Text of a label.
pub fn small(theme: &Theme, words: impl Into<String>) -> egui::RichText {
    egui::RichText::new(words).size(SMALL).color(theme.mid)
}
