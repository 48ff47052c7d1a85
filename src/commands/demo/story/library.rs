//! The story of the library: what others published, made up like everything else here.

use super::*;

impl Story {
    /// Three figures of invented papers, one of them with its spread.
    pub(super) async fn cite(&self) -> Told {
        let figures = [
            (
                Property::Strength,
                Environment::Soil,
                "filled biopolyester, dumbbells 2 mm thick",
                150.0,
                (81.0, Some(74.0), Some(88.0)),
                "Invented, A., Madeup, B.: Buried bars, first winter. Letters of a Journal That Never Was 3 \
                 (2019) 14–22, table 2. Made up for this demo.",
            ),
            (
                Property::Strength,
                Environment::FreshWater,
                "filled biopolyester, moulded hooks",
                270.0,
                (77.0, None, None),
                "Madeup, B.: Hooks in a mill pond. Proceedings of an Imagined Meeting (2021) 101–108. Made up \
                 for this demo.",
            ),
            (
                Property::Mass,
                Environment::Soil,
                "starch-filled sheet 0.5 mm thick",
                120.0,
                (96.5, None, None),
                "Notthere, C.: Sheets under leeks. Unwritten Reports 12 (2020), figure 4. Made up for this \
                 demo.",
            ),
        ];
        for (property, environment, material, days, left, citation) in figures {
            let figure = CitedFigure {
                property,
                material: material.to_owned(),
                environment,
                days,
                retention_percent: left.0,
                lower_percent: left.1,
                upper_percent: left.2,
                citation: citation.to_owned(),
                link: String::new(),
            };
            self.script
                .say(Entry::FigureCited(Box::new(figure)))
                .await?;
        }
        Ok(())
    }

    /// A known weight and a gauge block before a round.
    pub(super) async fn check_instruments(&self) -> Told {
        let checks = [
            (self.balance, 10.0, 10.001, Unit::Gram),
            (self.calliper, 10.0, 10.01, Unit::Millimetre),
        ];
        for (instrument, nominal, value, unit) in checks {
            self.script.wait(Duration::seconds(30));
            let typed = |value: f64| AsTyped {
                text: value.to_string(),
                unit,
            };
            let check = InstrumentCheck {
                instrument,
                nominal,
                nominal_typed: typed(nominal),
                value,
                typed: typed(value),
            };
            self.script.say(Entry::InstrumentChecked { check }).await?;
        }
        Ok(())
    }
}
