"""The texts of the page on which a care plan is changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from api.web.words.plan_faults import fault_in_spanish
from api.web.words.plans import plan_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rules.model.fault import Fault


@dataclass(frozen=True, slots=True)
class EditingWords:
    """The texts of one language. Names in braces are filled in."""

    code: str
    answer: str
    how: str
    still_to_come: str
    taken_up: str
    figures: str
    as_text: str
    text_label: str
    text_hint: str
    lines_hint: str
    batches_there: str
    no_batch_there: str
    blindness: str
    blind_after: str
    back_by: str
    on_delay: str
    off_delay: str
    comfortable: str
    priority: str
    base: str
    summed: str
    look_at: str
    first_after: str
    every: str
    step: str
    after_days: str
    begins: str
    begins_hint: str
    reason: str
    reason_hint: str
    look: str
    keep: str
    keep_hint: str
    back: str
    looked: str
    nothing_kept: str
    counts_from: str
    counts_later: str
    overtakes: str
    changes: str
    no_words: str
    field_head: tuple[str, str, str]
    every_field: str
    nothing: str
    touches: str
    at_once: str
    anew: str
    later: str
    later_line: str
    no_batch: str
    faults: str
    fault_line: str
    fault: str
    meanwhile: str
    they_changed: str
    go_on: str
    not_looked: str
    unreadable_moment: str

    @property
    def way_out(self) -> str:
        """The name of the way out."""
        return plan_words(self.code).way_out

    @property
    def by_method(self) -> str:
        """The name of what differs by graft method."""
        return plan_words(self.code).by_method

    @property
    def release(self) -> Mapping[str, str]:
        """The names of the figures of the way out that are one number."""
        names = plan_words(self.code).release
        return {field: name for field, name in names.items() if field != "open_share"}

    @property
    def method(self) -> Mapping[str, str]:
        """The names of the days of a graft method."""
        return plan_words(self.code).method

    def with_unit(self, label: str, unit: str) -> str:
        """Return a label with the unit in which the figure is to be typed."""
        return f"{label}, {unit}" if unit else label

    def fault_in_words(self, fault: Fault) -> str:
        """Return what is wrong and what to do."""
        if self.code == "es":
            return fault_in_spanish(fault)
        problem = fault.problem[:1].upper() + fault.problem[1:]
        return f"{problem}. {fault.fix}"


ENGLISH = EditingWords(
    code="en",
    answer="{title}: what should be different?",
    how="Change what you need, look at it, then keep it. Nothing counts before you keep it. What "
    "happened before stays judged as it was.",
    still_to_come="You change version {version}, which is still to come: {since}. What you keep "
    "takes its place if it begins no later.",
    taken_up="Filled in with version {version}. Kept, it becomes a new version.",
    figures="Change figures",
    as_text="Change it as text",
    text_label="The whole plan as text (TOML)",
    text_hint="The page on the site file and care plans says what each field means. Leave version "
    "as it is: it is numbered when you keep it.",
    lines_hint="Everything else (texts, new limits, how the scion dries) is changed as text.",
    batches_there="In this stage now: {codes}",
    no_batch_there="No batch is in this stage now.",
    blindness="When it can't be seen",
    blind_after="say so after, min",
    back_by="over once back inside by",
    on_delay="speaks after, min",
    off_delay="is over after, min",
    comfortable="comfortable from inside by",
    priority="how urgent",
    base="counts beyond",
    summed="added up",
    look_at="Look at",
    first_after="first after, days",
    every="then every, days",
    step="step",
    after_days="days after grafting",
    begins="Counts from",
    begins_hint="Left empty: from the next minute after you keep it. Time of the nursery.",
    reason="Why is it changed?",
    reason_hint="Whoever is woken by it will read this.",
    look="Look at it first",
    keep="Keep version {version}",
    keep_hint="It counts from the next minute, or from the moment that you named.",
    back="Back to the plan",
    looked="This is what version {version} would change. It is not kept yet.",
    nothing_kept="Not kept. Mend this first:",
    counts_from="It counts from {when} if you keep it now, each minute later a minute later.",
    counts_later="It counts from {when}.",
    overtakes="Version {versions} has not begun, and will then never count.",
    changes="What changes against version {version}, which is in force until then",
    no_words="No limit, sum or check says anything else; see the fields.",
    field_head=("Field", "Was", "Becomes"),
    every_field="Every field that differs, exactly",
    nothing="nothing",
    touches="Which batches it meets",
    at_once="{codes}: judged by it from {when}.",
    anew="{codes}: go and look. An alarm that is open there ends in that minute, for its limit is "
    "changed; what is still beyond the new one rings again once its delay is over.",
    later="{codes}: only once they come to a stage that is changed.",
    later_line="{code} ({stage})",
    no_batch="No batch follows this plan now.",
    faults="{count} things are wrong, nothing is kept",
    fault_line="Line {line}, {field}: {said}",
    fault="{field}: {said}",
    meanwhile="Someone else was faster: version {version} by {name}, {when} ({note}). Nothing of "
    "yours is kept yet, and nothing of theirs is lost. What you typed stands below.",
    they_changed="What they changed",
    go_on="Look at yours again: you see then what it would undo. Or open the plan anew and change "
    "theirs.",
    not_looked="You changed something after you looked. Look at it as it is now, then keep it.",
    unreadable_moment="can't be read as a moment",
)

SPANISH = EditingWords(
    code="es",
    answer="{title}: ¿qué debe ser distinto?",
    how="Cambie lo que haga falta, mírelo y luego guárdelo. Nada cuenta antes de guardar. Lo que "
    "ya ocurrió sigue juzgado como estaba.",
    still_to_come="Cambia la versión {version}, que aún no rige: {since}. Lo que guarde toma su "
    "lugar si no empieza más tarde.",
    taken_up="Rellenado con la versión {version}. Al guardarlo será una versión nueva.",
    figures="Cambiar cifras",
    as_text="Cambiarlo como texto",
    text_label="El plan entero como texto (TOML)",
    text_hint="La página sobre el archivo del sitio y los planes explica cada campo. Deje version "
    "como está: se numera al guardar.",
    lines_hint="Todo lo demás (textos, límites nuevos, cómo se seca la púa) se cambia como texto.",
    batches_there="Ahora en esta etapa: {codes}",
    no_batch_there="Ahora no hay lotes en esta etapa.",
    blindness="Cuando no se puede ver",
    blind_after="decirlo tras, min",
    back_by="termina al volver dentro por",
    on_delay="avisa tras, min",
    off_delay="termina tras, min",
    comfortable="cómodo desde adentro por",
    priority="qué tan urgente",
    base="cuenta más allá de",
    summed="sumado",
    look_at="Mirar",
    first_after="primero tras, días",
    every="luego cada, días",
    step="paso",
    after_days="días tras injertar",
    begins="Cuenta desde",
    begins_hint="Vacío: desde el minuto siguiente a guardarlo. Hora del vivero.",
    reason="¿Por qué se cambia?",
    reason_hint="Lo leerá quien se despierte por ello.",
    look="Mirarlo primero",
    keep="Guardar la versión {version}",
    keep_hint="Cuenta desde el minuto siguiente, o desde el momento que usted puso.",
    back="Volver al plan",
    looked="Esto cambiaría la versión {version}. Aún no está guardada.",
    nothing_kept="No se guardó. Corrija antes esto:",
    counts_from="Cuenta desde {when} si la guarda ahora; cada minuto después, un minuto más tarde.",
    counts_later="Cuenta desde {when}.",
    overtakes="La versión {versions} no ha empezado y ya nunca contará.",
    changes="Qué cambia frente a la versión {version}, vigente hasta entonces",
    no_words="Ningún límite, suma o revisión dice otra cosa; vea los campos.",
    field_head=("Campo", "Era", "Será"),
    every_field="Cada campo distinto, exacto",
    nothing="nada",
    touches="A qué lotes toca",
    at_once="{codes}: se juzgan por ella desde {when}.",
    anew="{codes}: vaya a mirar. Una alarma abierta allí termina en ese minuto, pues su límite "
    "cambia; lo que siga fuera del nuevo vuelve a avisar tras su demora.",
    later="{codes}: solo cuando lleguen a una etapa que cambia.",
    later_line="{code} ({stage})",
    no_batch="Ahora ningún lote sigue este plan.",
    faults="Hay {count} errores, no se guardó nada",
    fault_line="Línea {line}, {field}: {said}",
    fault="{field}: {said}",
    meanwhile="Alguien fue más rápido: versión {version} de {name}, {when} ({note}). Lo suyo aún "
    "no está guardado, y nada de lo otro se perdió. Lo que escribió sigue abajo.",
    they_changed="Qué cambió la otra persona",
    go_on="Mire lo suyo otra vez: verá qué desharía. O abra el plan de nuevo y cambie lo nuevo.",
    not_looked="Cambió algo después de mirar. Mírelo como está ahora y luego guárdelo.",
    unreadable_moment="no se lee como un momento",
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def editing_words(code: str) -> EditingWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
