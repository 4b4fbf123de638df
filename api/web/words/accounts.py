"""The texts about accounts: signing in, setting up, one's own account, and everybody's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class AccountWords:
    """The texts of one language. Names in braces are filled in."""

    sign_in: str
    sign_in_title: str
    sign_in_first: str
    name: str
    name_hint: str
    password: str
    wrong: str
    wait: str
    forgot: str
    sign_out: str
    signed_in_as: str
    shared_device: str
    set_up_title: str
    set_up_lead: str
    set_up_first: str
    set_up_code: str
    set_up_code_hint: str
    set_up_wrong: str
    set_up_do: str
    who_leads: str
    new_password: str
    again: str
    password_hint: str
    not_same: str
    weak: Mapping[str, str]
    invited_title: str
    invited_do: str
    roles: Mapping[str, str]
    role_tells: Mapping[str, str]
    may_not: str
    no_token_may: str
    not_your_name: str
    from_nowhere: str
    my_account: str
    my_title: str
    old_password: str
    change_password: str
    change_password_hint: str
    where_signed_in: str
    this_one: str
    since_seen: str
    end_it: str
    everywhere: str
    tokens: str
    tokens_hint: str
    no_tokens: str
    token_name: str
    token_role: str
    token_lasts: str
    spans: Mapping[str, str]
    make_token: str
    token_made: str
    revoke: str
    revoked: str
    expires: str
    used: str
    never_used: str
    accounts: str
    accounts_title: str
    accounts_hint: str
    invite: str
    invite_do: str
    invite_hint: str
    person: str
    role: str
    link_made: str
    new_link: str
    change_role: str
    disable: str
    enable: str
    disabled: str
    not_yet: str
    not_in_book: str
    acts_for: str
    devices: str
    devices_hint: str
    device_name: str
    device_do: str
    changes: str
    deeds: Mapping[str, str]
    by_machine: str
    why_not: Mapping[str, str]


ENGLISH = AccountWords(
    sign_in="Sign in",
    sign_in_title="Sign in to see the plants",
    sign_in_first="Sign in first.",
    name="Your name",
    name_hint="As it stands in the book, or its short form.",
    password="Password",
    wrong="Try again: the name or the password is not right.",
    wait="Wait {time}, then try again. Too many tries went wrong. Links in messages work "
    "meanwhile.",
    forgot="Forgot it? Ask the lead for a new link. The lead can make one at the machine itself: "
    "graftvigil account password NAME.",
    sign_out="Sign out",
    signed_in_as="Signed in: {name} ({role}).",
    shared_device="Shared device: {name} ({role}).",
    set_up_title="Set up the first account",
    set_up_lead="Nobody has an account yet. The first one leads: it sees all, changes all, and "
    "invites the others.",
    set_up_first="Nobody has an account yet. Open /set-up in a browser.",
    set_up_code="Code",
    set_up_code_hint="It stands where graftvigil was started, and in the file set-up-code of its "
    "data folder.",
    set_up_wrong="Look at the code again: this is not it. Each start makes a new one.",
    set_up_do="Make the account",
    who_leads="Who leads",
    new_password="New password",
    again="The same again",
    password_hint="12 letters or more. Four words that have nothing to do with one another are "
    "good and easy to type. Not your name, not the nursery's.",
    not_same="Type it again: the two were not the same.",
    weak={
        "short": "Choose a longer one: 12 letters or more.",
        "long": "Choose a shorter one: 200 letters at most.",
        "name": "Choose another: people would try names first.",
        "common": "Choose another: that one would be guessed early. Try four words.",
    },
    invited_title="Choose your password, {name}",
    invited_do="Keep it and sign in",
    roles={"look": "look", "tend": "tend", "technician": "technician", "lead": "lead"},
    role_tells={
        "look": "reads everything",
        "tend": "takes alarms on, says what was seen and what is in hand",
        "technician": "sees to sensors, takes alarms on, says what is in hand",
        "lead": "everything, with batches, people and accounts",
    },
    may_not="Ask the lead: your role ({role}) does not do this.",
    no_token_may="Sign in for this: no token may do it.",
    not_your_name="Write yourself under “by”, or leave it out: you act as {names}.",
    from_nowhere="Do it from our own page: this did not say where it comes from.",
    my_account="Account",
    my_title="Your account",
    old_password="Password now",
    change_password="Change the password",
    change_password_hint="Every other device is then signed out.",
    where_signed_in="Where you are signed in",
    this_one="this one",
    since_seen="since {since}, last seen {seen}",
    end_it="Sign it out",
    everywhere="Sign out everywhere",
    tokens="Tokens for programs",
    tokens_hint="A program shows one as “Authorization: Bearer …”. It may do no more than you.",
    no_tokens="You have none.",
    token_name="What it is for",
    token_role="It may",
    token_lasts="It ends after",
    spans={"30": "30 days", "90": "90 days", "365": "a year", "0": "never"},
    make_token="Make a token",
    token_made="Copy it now; it is not shown again:",
    revoke="End it",
    revoked="ended {time}",
    expires="ends {time}",
    used="last used {time}",
    never_used="never used",
    accounts="Accounts",
    accounts_title="Who may do what",
    accounts_hint="Whoever is in the book can be given an account. What you change counts at once.",
    invite="Invite someone",
    invite_do="Make a link",
    invite_hint="Give the link to that person alone. It works once, for three days.",
    person="Person",
    role="Role",
    link_made="The link for {name}. Copy it now; it is not shown again:",
    new_link="New link",
    change_role="Change",
    disable="Shut out",
    enable="Let in again",
    disabled="shut out since {time}",
    not_yet="has not chosen a password yet",
    not_in_book="is not in the book, and so can't sign in",
    acts_for="acts for {names}",
    devices="Invite a shared device",
    devices_hint="A tablet at the benches, say. Whoever uses it says there who they are, among the "
    "people chosen here. It never leads.",
    device_name="Its name",
    device_do="Make a link for the device",
    changes="What was changed",
    deeds={
        "set_up": "set up the first account",
        "invited": "made a link for {person}: {details}",
        "role": "changed {person}: {details}",
        "password": "new password of {person} {details}",
        "disabled": "shut {person} out",
        "enabled": "let {person} in again",
        "token": "made a token of {person}: {details}",
        "token_revoked": "ended a token of {person}: {details}",
        "signed_out": "signed {person} out everywhere ({details})",
        "unlocked": "forgot the failed tries of {person}",
    },
    by_machine="at the machine",
    why_not={
        "not_in_book": "Choose people of the book who can answer.",
        "no_account": "There is no such account.",
        "name_taken": "Choose another name: somebody in the book has it.",
        "last_lead": "Make somebody else a lead first: nobody could change accounts any more.",
        "set_up_before": "Sign in: someone has set up the first account already.",
        "link_over": "Ask for a new link: this one was used, or is older than three days.",
        "too_much": "Choose a role that does no more than you.",
        "shared_leads": "Choose another role: a shared device never leads.",
        "no_name": "Give it a name: small letters, digits and dashes for a device.",
    },
)

SPANISH = AccountWords(
    sign_in="Entrar",
    sign_in_title="Entre para ver las plantas",
    sign_in_first="Primero entre con su cuenta.",
    name="Su nombre",
    name_hint="Como está en el libro, o su forma corta.",
    password="Contraseña",
    wrong="Pruebe otra vez: el nombre o la contraseña no es correcto.",
    wait="Espere {time} y pruebe otra vez. Hubo demasiados intentos fallidos. Los enlaces de los "
    "mensajes funcionan mientras tanto.",
    forgot="¿La olvidó? Pida otro enlace a quien dirige. Quien dirige puede hacerlo en la propia "
    "máquina: graftvigil account password NOMBRE.",
    sign_out="Salir",
    signed_in_as="Ha entrado {name} ({role}).",
    shared_device="Aparato compartido: {name} ({role}).",
    set_up_title="Prepare la primera cuenta",
    set_up_lead="Nadie tiene cuenta todavía. La primera dirige: lo ve todo, lo cambia todo e "
    "invita a los demás.",
    set_up_first="Nadie tiene cuenta todavía. Abra /set-up en un navegador.",
    set_up_code="Código",
    set_up_code_hint="Está donde se puso en marcha graftvigil, y en el archivo set-up-code de su "
    "carpeta de datos.",
    set_up_wrong="Mire el código otra vez: no es ese. Cada arranque hace uno nuevo.",
    set_up_do="Crear la cuenta",
    who_leads="Quién dirige",
    new_password="Contraseña nueva",
    again="La misma otra vez",
    password_hint="12 letras o más. Cuatro palabras que no tengan que ver entre sí son buenas y "
    "fáciles de escribir. Ni su nombre ni el del vivero.",
    not_same="Escríbala otra vez: las dos no eran iguales.",
    weak={
        "short": "Elija una más larga: 12 letras o más.",
        "long": "Elija una más corta: 200 letras como mucho.",
        "name": "Elija otra: los nombres se prueban primero.",
        "common": "Elija otra: esa se adivinaría pronto. Pruebe con cuatro palabras.",
    },
    invited_title="Elija su contraseña, {name}",
    invited_do="Guardar y entrar",
    roles={"look": "mirar", "tend": "cuidar", "technician": "técnica", "lead": "dirigir"},
    role_tells={
        "look": "lee todo",
        "tend": "se encarga de alarmas, anota lo visto y lo que está en marcha",
        "technician": "atiende los sensores, se encarga de alarmas, anota lo que está en marcha",
        "lead": "todo, con lotes, personas y cuentas",
    },
    may_not="Pregunte a quien dirige: su papel ({role}) no hace esto.",
    no_token_may="Para esto entre con su cuenta: ninguna ficha puede hacerlo.",
    not_your_name="Ponga su nombre en «by», o nada: usted actúa como {names}.",
    from_nowhere="Hágalo desde nuestra propia página: esto no dijo de dónde viene.",
    my_account="Cuenta",
    my_title="Su cuenta",
    old_password="Contraseña de ahora",
    change_password="Cambiar la contraseña",
    change_password_hint="Después se cierra la sesión en los demás aparatos.",
    where_signed_in="Dónde tiene la sesión abierta",
    this_one="este",
    since_seen="desde {since}, visto por última vez {seen}",
    end_it="Cerrar esa",
    everywhere="Salir en todas partes",
    tokens="Fichas para programas",
    tokens_hint="Un programa la muestra como «Authorization: Bearer …». No puede más que usted.",
    no_tokens="No tiene ninguna.",
    token_name="Para qué es",
    token_role="Puede",
    token_lasts="Termina después de",
    spans={"30": "30 días", "90": "90 días", "365": "un año", "0": "nunca"},
    make_token="Hacer una ficha",
    token_made="Cópiela ahora; no se vuelve a mostrar:",
    revoke="Terminarla",
    revoked="terminada {time}",
    expires="termina {time}",
    used="usada por última vez {time}",
    never_used="nunca usada",
    accounts="Cuentas",
    accounts_title="Quién puede hacer qué",
    accounts_hint="Se puede dar cuenta a quien esté en el libro. Lo que cambie cuenta enseguida.",
    invite="Invitar a alguien",
    invite_do="Hacer un enlace",
    invite_hint="Dé el enlace solo a esa persona. Sirve una vez, durante tres días.",
    person="Persona",
    role="Papel",
    link_made="El enlace para {name}. Cópielo ahora; no se vuelve a mostrar:",
    new_link="Enlace nuevo",
    change_role="Cambiar",
    disable="No dejar entrar",
    enable="Dejar entrar otra vez",
    disabled="no puede entrar desde {time}",
    not_yet="aún no ha elegido contraseña",
    not_in_book="no está en el libro y por eso no puede entrar",
    acts_for="actúa por {names}",
    devices="Invitar a un aparato compartido",
    devices_hint="Por ejemplo, una tableta junto a los bancales. Quien la usa dice allí quién es, "
    "entre las personas elegidas aquí. Nunca dirige.",
    device_name="Su nombre",
    device_do="Hacer un enlace para el aparato",
    changes="Qué se cambió",
    deeds={
        "set_up": "preparó la primera cuenta",
        "invited": "hizo un enlace para {person}: {details}",
        "role": "cambió a {person}: {details}",
        "password": "contraseña nueva de {person} {details}",
        "disabled": "dejó fuera a {person}",
        "enabled": "dejó entrar otra vez a {person}",
        "token": "hizo una ficha de {person}: {details}",
        "token_revoked": "terminó una ficha de {person}: {details}",
        "signed_out": "cerró todas las sesiones de {person} ({details})",
        "unlocked": "olvidó los intentos fallidos de {person}",
    },
    by_machine="en la máquina",
    why_not={
        "not_in_book": "Elija a personas del libro que puedan responder.",
        "no_account": "No existe esa cuenta.",
        "name_taken": "Elija otro nombre: alguien del libro lo tiene.",
        "last_lead": "Antes haga que otra persona dirija: nadie podría cambiar cuentas.",
        "set_up_before": "Entre: alguien ya preparó la primera cuenta.",
        "link_over": "Pida otro enlace: este ya se usó, o tiene más de tres días.",
        "too_much": "Elija un papel que no pueda más que usted.",
        "shared_leads": "Elija otro papel: un aparato compartido nunca dirige.",
        "no_name": "Póngale un nombre: minúsculas, cifras y guiones si es un aparato.",
    },
)

_BY_CODE = {"en": ENGLISH, "es": SPANISH}


def account_words(code: str) -> AccountWords:
    """Return the texts in a language of the pages."""
    return _BY_CODE[code]
