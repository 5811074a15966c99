//! The window itself: winit's events to egui, egui's shapes to the screen by wgpu.

use super::desk::Desk;
use super::sheet;
use egui::ViewportId;
use egui_wgpu::winit::Painter;
use egui_wgpu::{RendererOptions, WgpuConfiguration};
use egui_winit::accesskit_winit;
use std::sync::Arc;
use std::time::{Duration, Instant};
use winit::application::ApplicationHandler;
use winit::dpi::LogicalSize;
use winit::event::WindowEvent;
use winit::event_loop::{ActiveEventLoop, ControlFlow, EventLoop, EventLoopProxy};
use winit::window::{Window, WindowId};

/// What wakes the window.
#[derive(Debug)]
pub enum Wake {
    /// Something has been rendered.
    Look,
    /// A screen reader asks.
    Access(accesskit_winit::Event),
}

impl From<accesskit_winit::Event> for Wake {
    fn from(event: accesskit_winit::Event) -> Self {
        Self::Access(event)
    }
}

/// Wakes the window from anywhere.
pub type Waker = EventLoopProxy<Wake>;

/// Why there is no window.
#[derive(Debug, thiserror::Error)]
pub enum ShellError {
    /// No screen to open it on.
    #[error("no window can be opened: {0}")]
    NoScreen(String),
    /// Nothing to draw it with.
    #[error("no graphics adapter can draw a window: {0}")]
    NoAdapter(String),
}

/// Opens the window and runs until it is closed. `make` is given what wakes the window.
///
/// # Errors
/// Where there is no screen, or nothing to draw with.
pub fn run(make: impl FnOnce(Waker) -> Desk, size: [f64; 2], scale: f32) -> Result<(), ShellError> {
    let no_screen =
        |e: winit::error::EventLoopError| ShellError::NoScreen(without_source(&e.to_string()));
    let events = EventLoop::<Wake>::with_user_event()
        .build()
        .map_err(no_screen)?;
    let proxy = events.create_proxy();
    let ctx = egui::Context::default();
    ctx.set_zoom_factor(scale);
    let waker = proxy.clone();
    ctx.set_request_repaint_callback(move |info| {
        if info.delay.is_zero() {
            let _ = waker.send_event(Wake::Look);
        }
    });
    let mut shell = Shell {
        desk: make(proxy.clone()),
        ctx,
        proxy,
        size,
        open: None,
        failed: None,
        themed: None,
    };
    events.run_app(&mut shell).map_err(no_screen)?;
    match shell.failed {
        Some(failed) => Err(failed),
        None => Ok(()),
    }
}

/// What a system's error says, without the library's own place in its source, which tells a photographer
/// nothing.
fn without_source(said: &str) -> String {
    let own = said.strip_prefix("os error at ");
    let said = own
        .and_then(|rest| Some(rest.split_once(".rs:")?.1.split_once(": ")?.1))
        .unwrap_or(said);
    said.trim_end_matches('.').to_owned()
}

struct Shell {
    desk: Desk,
    ctx: egui::Context,
    proxy: Waker,
    size: [f64; 2],
    open: Option<Open>,
    failed: Option<ShellError>,
    themed: Option<bool>,
}

struct Open {
    window: Arc<Window>,
    state: egui_winit::State,
    painter: Painter,
}

/// How long the window sleeps at most: files on disk are looked at in between.
const NAP: Duration = Duration::from_millis(500);

impl Shell {
    fn open(&mut self, events: &ActiveEventLoop) -> Result<Open, ShellError> {
        let [width, height] = self.size;
        let attributes = Window::default_attributes()
            .with_title("Swatchlight")
            .with_inner_size(LogicalSize::new(width, height))
            .with_min_inner_size(LogicalSize::new(960.0, 640.0))
            // Screen readers want to be told before it shows.
            .with_visible(false);
        let window = events
            .create_window(attributes)
            .map_err(|e| ShellError::NoScreen(without_source(&e.to_string())))?;
        let window = Arc::new(window);
        // Of no backend there is nothing to list.
        let no_adapter = |e: egui_wgpu::WgpuError| {
            ShellError::NoAdapter(e.to_string().trim_end_matches(": {}").to_owned())
        };
        let mut painter = pollster::block_on(Painter::new(
            self.ctx.clone(),
            WgpuConfiguration::default(),
            false,
            RendererOptions::default(),
        ));
        pollster::block_on(painter.set_window(ViewportId::ROOT, Some(Arc::clone(&window))))
            .map_err(no_adapter)?;
        let mut state = egui_winit::State::new(
            self.ctx.clone(),
            ViewportId::ROOT,
            &window,
            Some(window.scale_factor() as f32),
            window.theme(),
            painter.max_texture_side(),
        );
        state.init_accesskit(events, &window, self.proxy.clone());
        window.set_visible(true);
        window.request_redraw();
        Ok(Open {
            window,
            state,
            painter,
        })
    }

    fn draw(&mut self, events: &ActiveEventLoop) {
        if self.themed != Some(self.desk.dark) {
            self.desk.theme().apply(&self.ctx);
            self.themed = Some(self.desk.dark);
        }
        let Some(open) = &mut self.open else {
            return;
        };
        let input = open.state.take_egui_input(&open.window);
        let desk = &mut self.desk;
        let mut output = self.ctx.run_ui(input, |ui| sheet::show(desk, ui));
        open.state
            .handle_platform_output(&open.window, output.platform_output);
        let primitives = self.ctx.tessellate(output.shapes, output.pixels_per_point);
        let page = desk.theme().page.to_normalized_gamma_f32();
        open.painter.paint_and_update_textures(
            ViewportId::ROOT,
            output.pixels_per_point,
            page,
            &primitives,
            &mut output.textures_delta,
            Vec::new(),
            &open.window,
        );
        if desk.closing {
            events.exit();
            return;
        }
        let root = output.viewport_output.get(&ViewportId::ROOT);
        let soon = root.map_or(NAP, |v| v.repaint_delay);
        let soon = if desk.is_busy() {
            soon.min(Duration::from_millis(50))
        } else {
            soon.min(NAP)
        };
        if soon.is_zero() {
            open.window.request_redraw();
        } else {
            events.set_control_flow(ControlFlow::WaitUntil(Instant::now() + soon));
        }
    }
}

impl ApplicationHandler<Wake> for Shell {
    fn resumed(&mut self, events: &ActiveEventLoop) {
        if self.open.is_some() {
            return;
        }
        match self.open(events) {
            Ok(open) => self.open = Some(open),
            Err(failed) => {
                self.failed = Some(failed);
                events.exit();
            }
        }
    }

    fn user_event(&mut self, _: &ActiveEventLoop, event: Wake) {
        let Some(open) = &mut self.open else {
            return;
        };
        match event {
            Wake::Look => {}
            Wake::Access(asked) => match asked.window_event {
                accesskit_winit::WindowEvent::InitialTreeRequested => self.ctx.enable_accesskit(),
                accesskit_winit::WindowEvent::ActionRequested(request) => {
                    open.state.on_accesskit_action_request(request);
                }
                accesskit_winit::WindowEvent::AccessibilityDeactivated => {}
            },
        }
        open.window.request_redraw();
    }

    fn new_events(&mut self, _: &ActiveEventLoop, cause: winit::event::StartCause) {
        if let (winit::event::StartCause::ResumeTimeReached { .. }, Some(open)) =
            (cause, &self.open)
        {
            open.window.request_redraw();
        }
    }

    fn window_event(&mut self, events: &ActiveEventLoop, _: WindowId, event: WindowEvent) {
        let Some(open) = &mut self.open else {
            return;
        };
        match &event {
            WindowEvent::CloseRequested => {
                self.desk.close();
                if self.desk.closing {
                    events.exit();
                    return;
                }
            }
            WindowEvent::RedrawRequested => return self.draw(events),
            WindowEvent::Resized(size) => {
                if let (Some(w), Some(h)) = (
                    std::num::NonZeroU32::new(size.width),
                    std::num::NonZeroU32::new(size.height),
                ) {
                    open.painter.on_window_resized(ViewportId::ROOT, w, h);
                }
            }
            _ => {}
        }
        if open.state.on_window_event(&open.window, &event).repaint {
            open.window.request_redraw();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::without_source;

    #[test]
    fn no_path_of_a_library_is_told() {
        for (said, told) in [
            (
                "os error at /home/x: y/winit-0.30/src/platform_impl/linux/mod.rs:765: no display is set.",
                "no display is set",
            ),
            (
                r"os error at C:\\Users\\x\\mod.rs:7: Failed to open: it is gone",
                "Failed to open: it is gone",
            ),
            ("Exit Failure: 3", "Exit Failure: 3"),
        ] {
            assert_eq!(without_source(said), told);
        }
    }
}
