"""What a heading means: names in six languages, units, directions across the rope.

English, German, French, Spanish, Italian and Portuguese. Capitals, spaces, punctuation and accents
don't matter.
"""

from __future__ import annotations

import re
import unicodedata

# By column of `inspection.exchange.columns`, without accents, spaces and punctuation.
OTHER_LANGUAGES: dict[str, dict[str, tuple[str, ...]]] = {
    "readings": {
        "inspection": (
            "prufung", "inspektion", "prufnr", "inspectionno", "controle", "inspeccion",
            "ispezione", "verifica", "inspecao",
        ),
        "rope": ("seil", "seilnr", "seilnummer", "cable", "cordage", "fune", "cabo"),
        "on": ("datum", "prufdatum", "jour", "fecha", "giorno", "dataispezione", "data"),
        "station": (
            "messstelle", "messpunkt", "stelle", "prufstelle", "pointdemesure", "poste",
            "estacion", "puntodemedicion", "punto", "stazione", "puntodimisura", "estacao",
            "pontodemedicao", "ponto",
        ),
        "position_m": (
            "lage", "abstand", "entfernung", "posicion", "distancia", "posizione", "distanza",
            "posicao", "distancia",
        ),
        "view_deg": (
            "richtung", "winkel", "messrichtung", "sens", "direccion", "angulo", "direzione",
            "angolo", "direcao",
        ),
        "value": (
            "durchmesser", "messwert", "ablesung", "seildurchmesser", "diametre", "mesure",
            "lecture", "valeur", "diametro", "lectura", "medida", "medicion", "lettura",
            "misura", "leitura", "medicao",
        ),
        "gauge": (
            "messgerat", "messmittel", "messschieber", "gerat", "piedacoulisse", "appareil",
            "calibre", "piederey", "instrumento", "strumento", "calibro", "paquimetro",
        ),
        "gauge_kind": ("gerateart", "typedinstrument", "tipodeinstrumento", "tipodistrumento"),
        "resolution": ("auflosung", "ablesbarkeit", "resolucion", "risoluzione", "resolucao"),
        "permissible_error": (
            "fehlergrenze", "erreurmaximale", "erreurmaximaletoleree", "errormaximo",
            "erroremassimo", "erromaximo",
        ),
        "calibration_due": (
            "kalibriertbis", "prochaineetalonnage", "etalonnagevalablejusquau",
            "calibracionhasta", "calibracionvalidahasta", "taraturavalidafino",
            "calibracaovalidaate",
        ),
        "person": (
            "prufer", "abgelesenvon", "gemessenvon", "inspekteur", "inspecteur", "operateur",
            "controleur", "mesurepar", "lupar", "operador", "medidopor", "ispettore",
            "operatore", "misuratoda", "inspetor",
        ),
        "logged_at": ("uhrzeit", "zeit", "zeitpunkt", "heure", "hora", "ora"),
        "note": ("bemerkung", "notiz", "remarque", "nota", "observacion", "osservazione",
                 "observacao"),
        "tension": ("seilkraft", "spannung", "traction", "tensione", "tracao"),
        "place": ("ort", "lieu", "lugar", "luogo", "local"),
    },
    "ropes": {
        "identity": ("seil", "seilnr", "seilnummer", "cable", "fune", "cabo"),
        "nominal": (
            "nenndurchmesser", "nennmass", "durchmesser", "diametrenominal", "diametre",
            "diametronominal", "diametronominale", "diametro",
        ),
        "outer_strands": (
            "aussenlitzen", "litzen", "toronsexterieurs", "torons", "cordonesexteriores",
            "cordones", "trefoliesterni", "trefoli", "pernasexternas", "pernas",
        ),
        "core": ("einlage", "seele", "ame", "alma", "anima"),
        "reference": (
            "bezugsdurchmesser", "referenzdurchmesser", "diametredereference",
            "diametrodereferencia", "diametrodiriferimento",
        ),
        "site": ("standort", "einsatzort", "lieu", "emplacement", "lugar", "ubicacion", "luogo",
                 "local"),
    },
}  # fmt: skip

_DEGREES = {
    "°", "deg", "degree", "degrees", "grad", "degres", "degre", "grado", "grados", "gradi",
    "grau", "graus",
}  # fmt: skip
_FIGURE = {
    "d", "dia", "diameter", "reading", "value", "measured", "at", "durchmesser", "messwert",
    "ablesung", "bei", "diametre", "lecture", "mesure", "valeur", "a", "diametro", "lectura",
    "medida", "lettura", "misura", "leitura", "richtung", "direction",
}  # fmt: skip


def folded(text: str) -> str:
    """Return a text without accents and capitals; the diameter sign is a d.

    Examples
    --------
    >>> folded("Messgerät"), folded("Ø Diamètre")
    ('messgerat', 'd diametre')
    """
    text = re.sub("[ØøⲐ⌀∅]", "d", text).casefold()
    return "".join(
        letter
        for letter in unicodedata.normalize("NFKD", text)
        if not unicodedata.combining(letter)
    )


def heading_words(heading: str) -> list[str]:
    """Return the words of a heading, folded; signs that are units count as words."""
    return re.findall(r'[^\W_]+|["°]', folded(heading))


def direction_of(heading: str, units: dict[str, str]) -> tuple[int, str, bool] | None:
    """Return direction, unit, and whether it is only numbered, if a heading is a direction.

    Parameters
    ----------
    heading : str
        As in the file.
    units : dict of str to str
        Words for units of length.

    Examples
    --------
    >>> known = {"mm": "mm"}
    >>> direction_of("0°", known), direction_of("Durchmesser 90° [mm]", known)
    ((0, '', False), (90, 'mm', False))
    >>> direction_of("d2", known), direction_of("station 2", known)
    ((90, '', True), None)
    """
    words = heading_words(heading)
    unit = ""
    if len(words) > 1 and words[-1] in units:
        unit = units[words.pop()]
    degrees = any(word in _DEGREES for word in words)
    words = [word for word in words if word not in _DEGREES]
    glued = re.fullmatch(r"([a-z]+)(\d{1,3})", words[0]) if len(words) == 1 else None
    if glued is not None:
        words = [glued[1], glued[2]]
    numbers = [word for word in words if word.isdecimal()]
    rest = [word for word in words if not word.isdecimal()]
    if len(numbers) != 1 or len(numbers[0]) > 3 or any(word not in _FIGURE for word in rest):
        return None
    number = int(numbers[0])
    if degrees or not rest:
        return (number, unit, False) if number < 360 else None
    if number in (1, 2):
        return 90 * (number - 1), unit, True
    return (number, unit, False) if number in (0, 45, 90, 135) else None


def two_figures(text: str) -> tuple[str, str] | None:
    """Return both figures if a cell holds two: "22.2 / 22.1"; a fraction is one figure.

    Examples
    --------
    >>> two_figures("22,2 / 22,1 mm"), two_figures("7/8"), two_figures("1 3/8")
    (('22,2 mm', '22,1 mm'), None, None)
    """
    found = re.fullmatch(r"\s*(\d+[.,]\d+)\s*(\D*?)\s*[/|;]\s*(\d+[.,]\d+)\s*(\D*?)\s*", text)
    if found is None:
        return None
    first, unit_one, second, unit_two = found.groups()
    unit = unit_two or unit_one
    return f"{first} {unit_one or unit}".strip(), f"{second} {unit}".strip()
