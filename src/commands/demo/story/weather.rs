//! The story of the loggers: one on the fleece rail, whose battery is flat for some days, and one in the
//! seed store. Invented weather, written as a logger's program writes it and read as a steward's file is.

use chrono::{DateTime, Datelike, FixedOffset, Timelike};

use super::*;
use crate::store::Blob;

/// Hours at which the battery of the logger on the rail was flat, counted from the outing.
const FLAT: std::ops::Range<i64> = 1400..1530;

/// Which logger.
#[derive(Clone, Copy, PartialEq)]
enum Logger {
    Rail,
    Store,
}

impl Story {
    /// Both loggers are read out on the day on which the first stage comes in.
    pub(super) async fn read_loggers(&mut self) -> Told {
        for (logger, place, name) in [
            (
                Logger::Rail,
                "c2",
                "blue logger, under rail B, in the shade",
            ),
            (Logger::Store, "c1", "white logger, seed store, shelf 2"),
        ] {
            let text = self.written_by(logger).await?;
            self.add_series(place, name, text.into_bytes()).await?;
        }
        Ok(())
    }

    pub(super) async fn put_out_at(&self) -> Told<DateTime<Utc>> {
        let record = self.script.store.study_record(&self.slug).await?;
        let record = record.ok_or("the story's study is gone")?;
        let out = record.specimens.iter().filter_map(|piece| piece.out_at);
        Ok(out.min().ok_or("nothing is out")?)
    }

    /// An hour a line, winter time all year, a comma before the decimals.
    async fn written_by(&self, logger: Logger) -> Told<String> {
        let mut scatter = Scatter::new(57);
        let zone = FixedOffset::east_opt(3600).ok_or("no such offset")?;
        let begun = self.put_out_at().await? - Duration::hours(5);
        let hours = (self.script.clock.now() - begun).num_hours();
        let head = "Button logger (invented);;\nTime (GMT+01:00);Temperature (°C);Humidity (%RH)\n";
        let mut text = head.to_owned();
        let mut drift = 0.0;
        for hour in 0..hours {
            if logger == Logger::Rail && FLAT.contains(&hour) {
                continue;
            }
            let at = (begun + Duration::hours(hour)).with_timezone(&zone);
            drift = 0.96 * drift + 0.7 * scatter.normal();
            let (celsius, humidity) = weather(logger, at, drift);
            let line = format!(
                "{};{celsius:.1};{humidity:.0}\n",
                at.format("%d.%m.%Y %H:00")
            );
            text.push_str(&line.replace('.', ",").replacen(',', ".", 2));
        }
        Ok(text)
    }

    async fn add_series(&self, condition: &str, name: &str, bytes: Vec<u8>) -> Told {
        let guessed = guess::guess(&bytes, "Europe/Oslo").map_err(|fault| fault.to_string())?;
        let (text, _) = table::text(&bytes);
        let read = guessed
            .layout
            .read(&text)
            .map_err(|fault| fault.to_string())?;
        let values = read.values;
        let keep = async |bytes: Vec<u8>| -> Told<String> {
            let media_type = "text/csv".to_owned();
            let kept = self
                .script
                .store
                .put_blob(&Blob { media_type, bytes })
                .await?;
            Ok(crate::clock::hex(&kept))
        };
        let (first, last) = values
            .rows
            .first()
            .zip(values.rows.last())
            .ok_or("no rows")?;
        let series = SeriesAdded {
            name: name.to_owned(),
            place: SeriesPlace::Condition(condition.to_owned()),
            source: SeriesSource::Logger {
                layout: guessed.layout.clone(),
            },
            channels: read.channels.clone(),
            file_sha256: keep(bytes).await?,
            values_sha256: keep(values.to_bytes()?).await?,
            rows: u32::try_from(values.rows.len())?,
            step_s: values.step_s(),
            first: first.at,
            last: last.at,
        };
        self.script
            .say(Entry::SeriesAdded(Box::new(series)))
            .await?;
        Ok(())
    }
}

/// Temperature and humidity of an hour, made up: a year's wave, a day's wave, and slow chance.
fn weather(logger: Logger, at: DateTime<FixedOffset>, drift: f64) -> (f64, f64) {
    use std::f64::consts::TAU;
    let season = (TAU * (f64::from(at.ordinal()) - 110.0) / 365.0).sin();
    let daytime = (TAU * (f64::from(at.hour()) - 9.0) / 24.0).sin();
    match logger {
        Logger::Rail => {
            let celsius = 6.5 + 10.5 * season + (3.0 + 2.0 * season) * daytime + drift;
            (
                celsius,
                (78.0 - 9.0 * daytime - 2.0 * drift).clamp(25.0, 100.0),
            )
        }
        Logger::Store => {
            let celsius = 21.0 + 1.5 * season + 0.3 * daytime + 0.1 * drift;
            (celsius, (46.0 + 6.0 * season + drift).clamp(20.0, 80.0))
        }
    }
}
