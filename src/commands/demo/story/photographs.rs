//! The story's photographs: some pegs as new, as found and cleaned; some released for the public page
//! once their results are told.

use super::*;
use crate::commands::demo::drawing::Drawing;
use crate::picture;
use crate::study::photograph::{Described, Motif, Photograph, View};
use crate::web::darkroom;

impl Story {
    /// The pegs that are photographed: one of each condition at the first stage.
    fn photographed(&self) -> Vec<Code> {
        let mut chosen: Vec<Code> = Vec::new();
        for code in self.at_stage(180) {
            let condition = self.condition_of(&code);
            if chosen
                .iter()
                .all(|known| self.condition_of(known) != condition)
            {
                chosen.push(code);
            }
        }
        chosen
    }

    /// As new, all from the same stand.
    pub(super) async fn photograph_new(&mut self) -> Told {
        for code in self.photographed() {
            self.photograph(&code, View::Before, 90, 0).await?;
        }
        Ok(())
    }

    /// As found and cleaned, nearer than half a year before.
    pub(super) async fn photograph_back(&mut self) -> Told {
        for code in self.photographed() {
            let wear = match self.condition_of(&code) {
                "c1" => 4,
                "c4" => 90,
                _ => 55,
            };
            self.photograph(&code, View::AsFound, 75, wear).await?;
            self.photograph(&code, View::After, 75, wear / 2).await?;
        }
        Ok(())
    }

    /// The pictures as new and cleaned of every photographed peg go to the public page.
    pub(super) async fn release_photographs(&mut self) -> Told {
        let record = self.script.store.study_record(&self.slug).await?;
        let record = record.ok_or("the study is not there")?;
        for photo in &record.photographs {
            if matches!(photo.view(), View::Before | View::After) && record.is_unblinded(photo) {
                let photograph = photo.entry;
                self.script
                    .say(Entry::PhotographReleased {
                        photograph,
                        shows_no_piece: false,
                    })
                    .await?;
            }
        }
        Ok(())
    }

    /// The bench on the day on which they were made, released at once: no single piece can be told in it.
    pub(super) async fn photograph_bench(&mut self, words: &str) -> Told {
        let drawing = Drawing {
            frame_mm: 190,
            width: 480,
            wear: 0,
            seed: 3,
        };
        let drawn = drawing.to_png()?;
        let files = darkroom::keep(&self.script.store, picture::clean(&drawn)?, &drawn).await?;
        let described = Described::of(&Motif::Whole, View::Whole, None);
        let photograph = Box::new(Photograph { described, files });
        let taken = Entry::PhotographTaken { photograph };
        let taken = self.script.say_because(taken, words).await?;
        let released = Entry::PhotographReleased {
            photograph: EntryId(taken.id),
            shows_no_piece: true,
        };
        self.script.say(released).await?;
        Ok(())
    }

    async fn photograph(&mut self, code: &Code, view: View, frame_mm: u32, wear: u32) -> Told {
        self.script.wait(Duration::seconds(50));
        let drawing = Drawing {
            frame_mm,
            width: 480,
            wear,
            seed: code.as_str().bytes().fold(0, u8::wrapping_add),
        };
        let drawn = drawing.to_png()?;
        let files = darkroom::keep(&self.script.store, picture::clean(&drawn)?, &drawn).await?;
        let motif = Motif::Piece(code.clone());
        let described = Described::of(&motif, view, Some(f64::from(frame_mm)));
        let photograph = Box::new(Photograph { described, files });
        self.script
            .say(Entry::PhotographTaken { photograph })
            .await?;
        Ok(())
    }
}
