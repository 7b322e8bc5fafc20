//! Words of other languages and short forms, as the English word of the trade that they stand for. Owns the table; what
//! a word proves is judged where it is used. Must not: hold a word for the sake of one host.

/// The word, and the English one for it. One that is a common English word of another meaning is left out.
#[rustfmt::skip]
const TABLE: &[(&str, &str)] = &[
    // Short forms.
    ("ext", "extruder"), ("extr", "extruder"), ("noz", "nozzle"), ("nzl", "nozzle"), ("sel", "selected"),
    ("prog", "progress"), ("prg", "progress"), ("stat", "state"), ("st", "state"), ("sts", "status"), ("pwr", "power"), ("lyr", "layer"),
    ("tmp", "temperature"), ("tmpr", "temperature"), ("fn", "filename"), ("fname", "filename"), ("cmd", "command"),
    ("setp", "setpoint"), ("tl", "tool"), ("htr", "heater"), ("mtr", "motor"), ("amb", "ambient"), ("brd", "board"),
    ("out", "output"), ("dty", "duty"), ("msrd", "measured"), ("dmd", "demand"), ("lft", "left"), ("rgt", "right"),
    // German.
    ("düse", "nozzle"), ("düsen", "nozzle"), ("duese", "nozzle"), ("duesen", "nozzle"), ("werkzeug", "tool"),
    ("werkzeuge", "tool"), ("kopf", "head"), ("köpfe", "head"), ("druckkopf", "printhead"), ("bett", "bed"),
    ("druckbett", "bed"), ("heizbett", "bed"), ("platte", "plate"), ("tisch", "table"), ("kammer", "chamber"),
    ("bauraum", "chamber"), ("gehäuse", "housing"), ("umgebung", "ambient"), ("raum", "room"), ("platine", "board"),
    ("netzteil", "psu"), ("steuerung", "controller"), ("ist", "actual"), ("istwert", "actual"), ("gemessen", "measured"),
    ("messwert", "measured"), ("aktuell", "actual"), ("soll", "setpoint"), ("sollwert", "setpoint"), ("ziel", "target"),
    ("zielwert", "target"), ("vorgabe", "setpoint"), ("gewünscht", "wanted"), ("temperatur", "temperature"),
    ("temperaturen", "temperature"), ("grad", "degree"), ("heizung", "heater"), ("heizer", "heater"),
    ("wärme", "warmth"), ("stellgrad", "duty"), ("leistung", "power"), ("heizleistung", "duty"),
    ("auslastung", "load"), ("zustand", "state"), ("stand", "state"), ("betriebsart", "mode"), ("phase", "phase"),
    ("auftrag", "job"), ("druckauftrag", "job"), ("arbeit", "work"), ("fortschritt", "progress"),
    ("prozent", "percent"), ("promille", "permille"), ("anteil", "share"), ("datei", "file"), ("dateiname", "filename"),
    ("titel", "title"), ("bezeichnung", "designation"), ("schicht", "layer"), ("schichten", "layers"),
    ("lage", "layer"), ("lagen", "layers"), ("gesamt", "total"), ("größe", "size"), ("dateigröße", "size"),
    ("gelesen", "read"), ("links", "left"), ("rechts", "right"), ("linke", "left"), ("rechte", "right"),
    ("vorn", "front"), ("vorne", "front"), ("hinten", "rear"), ("erste", "first"), ("zweite", "second"),
    ("aktiv", "active"), ("aktive", "active"), ("einsatz", "use"), ("gewählt", "selected"), ("lüfter", "fan"),
    ("uhrzeit", "clock"), ("drehzahl", "rpm"), ("feuchte", "humidity"), ("frei", "free"), ("bereit", "ready"),
    ("leerlauf", "idle"), ("untätig", "idle"), ("heizt", "heating"), ("aufheizen", "heating"), ("druckt", "printing"),
    ("druck", "print"), ("drucken", "printing"), ("läuft", "running"), ("pausiert", "paused"),
    ("angehalten", "paused"), ("unterbrochen", "interrupted"), ("wartet", "waiting"), ("fertig", "finished"),
    ("beendet", "finished"), ("abgeschlossen", "completed"), ("abgebrochen", "cancelled"), ("gestört", "fault"),
    ("störung", "fault"), ("fehler", "error"), ("vergangen", "elapsed"), ("aus", "off"),
    // French.
    ("buse", "nozzle"), ("buses", "nozzle"), ("outil", "tool"), ("outils", "tools"), ("tête", "head"), ("tete", "head"),
    ("extrudeur", "extruder"), ("extrudeuse", "extruder"), ("plateau", "bed"), ("enceinte", "chamber"),
    ("carte", "board"), ("consigne", "setpoint"), ("cible", "target"), ("mesure", "measured"), ("mesurée", "measured"),
    ("mesuree", "measured"), ("mesuré", "measured"), ("actuelle", "actual"), ("actuel", "actual"),
    ("température", "temperature"), ("températures", "temperature"), ("chauffe", "heating"), ("chauffage", "heater"),
    ("puissance", "power"), ("état", "state"), ("etat", "state"), ("tâche", "task"), ("travail", "work"),
    ("impression", "print"), ("imprime", "printing"), ("avancement", "progress"), ("progression", "progress"),
    ("fichier", "file"), ("nom", "name"), ("couche", "layer"), ("couches", "layers"), ("gauche", "left"),
    ("droite", "right"), ("actif", "active"), ("ventilateur", "fan"), ("libre", "free"), ("prêt", "ready"),
    ("repos", "idle"), ("terminé", "finished"), ("termine", "finished"), ("annulé", "cancelled"), ("annule", "cancelled"),
    ("erreur", "error"), ("échec", "failed"), ("suspendu", "suspended"), ("taille", "size"), ("octets", "bytes"),
    // Spanish.
    ("boquilla", "nozzle"), ("boquillas", "nozzle"), ("herramienta", "tool"), ("cabezal", "head"), ("extrusor", "extruder"),
    ("cama", "bed"), ("cámara", "chamber"), ("placa", "board"), ("objetivo", "target"), ("consigna", "setpoint"),
    ("medida", "measured"), ("deseada", "wanted"), ("temperatura", "temperature"), ("potencia", "power"),
    ("estado", "state"), ("trabajo", "job"), ("progreso", "progress"), ("avance", "progress"), ("archivo", "file"),
    ("fichero", "file"), ("nombre", "name"), ("capa", "layer"), ("capas", "layers"), ("izquierda", "left"),
    ("derecha", "right"), ("activa", "active"), ("activo", "active"), ("ventilador", "fan"), ("imprimiendo", "printing"),
    ("calentando", "heating"), ("pausado", "paused"), ("terminado", "finished"), ("cancelado", "cancelled"),
    ("inactivo", "idle"), ("listo", "ready"),
    // Italian.
    ("ugello", "nozzle"), ("ugelli", "nozzle"), ("utensile", "tool"), ("testina", "head"), ("estrusore", "extruder"),
    ("letto", "bed"), ("attuale", "actual"), ("misurata", "measured"), ("impostata", "setpoint"),
    ("desiderata", "wanted"), ("potenza", "power"), ("stato", "state"), ("lavoro", "job"), ("avanzamento", "progress"),
    ("strato", "layer"), ("strati", "layers"), ("sinistra", "left"), ("destra", "right"), ("attivo", "active"),
    ("ventola", "fan"), ("stampa", "printing"), ("riscaldamento", "heating"), ("finito", "finished"),
    ("annullato", "cancelled"), ("fermo", "idle"), ("pronto", "ready"), ("errore", "error"), ("nome", "name"),
    // Dutch.
    ("spuitmond", "nozzle"), ("spuitkop", "nozzle"), ("gereedschap", "tool"), ("gemeten", "measured"),
    ("gewenst", "wanted"), ("ingesteld", "setpoint"), ("huidig", "current"), ("huidige", "current"), ("doel", "target"),
    ("temperatuur", "temperature"), ("vermogen", "power"), ("toestand", "state"), ("opdracht", "job"), ("taak", "task"),
    ("voortgang", "progress"), ("bestand", "file"), ("naam", "name"), ("laag", "layer"), ("lagen", "layers"),
    ("actief", "active"), ("actieve", "active"), ("printen", "printing"), ("verwarmen", "heating"),
    ("opwarmen", "heating"), ("gepauzeerd", "paused"), ("klaar", "finished"), ("geannuleerd", "cancelled"),
    ("mislukt", "failed"), ("fout", "error"), ("vrij", "free"),
    // Swedish, Danish and Norwegian.
    ("munstycke", "nozzle"), ("dyse", "nozzle"), ("verktyg", "tool"), ("værktøj", "tool"), ("bädd", "bed"),
    ("ärvärde", "actual"), ("börvärde", "setpoint"), ("uppmätt", "measured"), ("målt", "measured"), ("mål", "target"),
    ("önskad", "wanted"), ("ønsket", "wanted"), ("tillstånd", "state"), ("tilstand", "state"), ("jobb", "job"),
    ("framsteg", "progress"), ("fremskridt", "progress"), ("fil", "file"), ("lager", "layer"), ("vänster", "left"),
    ("höger", "right"), ("venstre", "left"), ("højre", "right"), ("skriver", "printing"), ("värmer", "heating"),
    ("klar", "finished"), ("avbruten", "cancelled"), ("ledig", "free"), ("fel", "error"),
];

/// The English word that it stands for.
pub(super) fn english(word: &str) -> Option<&'static str> {
    TABLE.iter().find(|(other, _)| *other == word).map(|(_, english)| *english)
}
