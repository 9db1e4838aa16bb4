//! A real browser on a real server: Chromium, driven through chromedriver, with the keyboard, with script off, and at
//! the widths of a phone, a tablet and a desk.

mod accessibility;
mod authoring;
mod away;
mod desk;
mod drawer;
mod drawings;
mod driver;
mod evening;
mod faults;
mod forty;
mod insight;
mod keyboard;
mod made_up;
mod no_script;
mod pages;
mod paper;
mod pdf;
mod review;
mod rounds;
mod widths;
mod window;
