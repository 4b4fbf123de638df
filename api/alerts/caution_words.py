"""What a person must mind at this work, said once for messages, night sheets and pages.

Common practice with no source, but for the 30 mA of IEC 60364-4-41 and the marks of IEC 60529.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Topic:
    """One danger. `name` is the same in every language; what comes first matters most."""

    name: str
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CautionWords:
    """The cautions in one language.

    `take_care` begins and `local` ends a message's lines; `more` leads to the page of all. `night`
    to `washing` also stand in messages and beside work in hand, in these very words.
    """

    take_care: str
    night: str
    heat: str
    water: str
    mains: str
    spraying: str
    washing: str
    local: str
    more: str
    title: str
    lead: str
    emergency: str
    rest: tuple[Topic, ...]

    def topics(self) -> tuple[Topic, ...]:
        """Return every danger with all its lines, the shared sentences in front."""
        shared = {
            "night": (self.night,),
            "heat": (self.heat,),
            "mains": (self.water, self.mains),
            "sprays": (self.spraying, self.washing),
        }
        return tuple(
            Topic(one.name, one.title, (*shared.get(one.name, ()), *one.lines)) for one in self.rest
        )


ENGLISH = CautionWords(
    take_care="Take care:",
    night="It is night: tell someone that you are going and when you will be back. Take a "
    "lamp and a phone.",
    heat="A closed house in the sun is hot. Tell someone that you are inside, drink water, "
    "and come out at once if you feel dizzy or unwell.",
    water="Keep water away from sockets, plugs, fans and lamps. Switch them off before you "
    "mist or wet the floor.",
    mains="Keep water and wet hands away from mains power. What is wired to the mains is "
    "opened by an electrician alone.",
    spraying="Keep everyone out until the re-entry time on the label has passed and "
    "the house is aired; put up a sign, and do not work alone. The label and local rules come "
    "first.",
    washing="Switch off and cover sockets, fans and lamps before water flows. Keep "
    "others out until it has drained. Local rules and your electrician come first.",
    local="The rules of your place, and what your electrician says, come before this message.",
    more="All cautions: {link}",
    title="Look after yourself first, then the plants",
    lead="No graft is worth a person. Your country's laws, your employer's rules and licensed "
    "trades come before all that stands here, and before every message.",
    emergency="Someone is hurt, faints or talks confused: call your emergency number first. Near "
    "power, switch it off before you touch them.",
    rest=(
        Topic(
            "night",
            "Going out alone at night",
            (
                "A message is a request, not an order. If it does not feel safe (storm, flood, "
                "strangers, you are worn out), turn back and say so: a lost batch can be grafted "
                "again.",
                "Nobody to tell? Then don't go alone. Agree by day who is called, and when they "
                "come looking if you don't answer.",
                "Shoes that grip and cover the foot; light on the path before you step on it.",
            ),
        ),
        Topic(
            "heat",
            "Heat in a closed house and under plastic",
            (
                "Do the hot work at dawn. Shade first, then go in; short stays, breaks in the "
                "shade.",
                "Headache, cramps, feeling sick: out, shade, water, rest. Confused, fainting, or "
                "hot and no longer sweating: call your emergency number and cool the person with "
                "water.",
                "The tool judges air for plants, not for people. Steady says nothing about whether "
                "you can work there.",
            ),
        ),
        Topic(
            "mains",
            "Mains power near water",
            (
                "Every socket in a wet house behind a residual-current device that trips at 30 mA "
                "or less. Press its test button as often as its maker says; if it does not trip, "
                "use nothing behind it.",
                "Sockets, boxes, lamps and fans made for wet places: marked IPX4 or better where "
                "it drips or is misted, IPX5 or better where a hose is used.",
                "Sensors and boards in the house: extra-low voltage (5 to 24 V) from a power "
                "supply that stands dry outside and bears the safety marks of your country.",
                "Fixed wiring, switchboards, pumps and heaters: a licensed electrician. A cable "
                "that is worn, warm or wet: off at the switch, not at the plug.",
            ),
        ),
        Topic(
            "sprays",
            "Sprays, fungicides and rooting powders",
            (
                "Read the label first: in many countries it is the law. Gloves, glasses, mask and "
                "clothing as it says, also for mixing.",
                "Re-entry and waiting times are on the label. A bag or tent keeps the spray in: "
                "air it before you put your face or hands inside.",
                "Keep them in their own bottle, locked, away from food and children. Swallowed, in "
                "the eyes, feeling ill: call poison help, label in hand.",
            ),
        ),
        Topic(
            "knives",
            "Knives, blades and hot wax",
            (
                "Cut away from hand, body and neighbours; thumb behind the edge; a cut-proof glove "
                "or thumb guard on the hand that holds the wood.",
                "A sharp knife slips less. Close it or put it down before you turn, walk or talk; "
                "old blades into a hard box.",
                "Wipe the blade between plants, with the flame out before alcohol comes near.",
                "Wax no hotter than it needs, the pot where nobody knocks it. A burn: cool running "
                "water for 20 minutes. A deep cut: press, raise, get help.",
            ),
        ),
        Topic(
            "ladders",
            "Ladders and roofs",
            (
                "To hang cloth or a sensor: firm, level ground, someone at the foot, three points "
                "held, belt buckle between the rails.",
                "Never on a plastic or glass roof, near overhead lines, in wind or alone at night. "
                "What can't be reached safely waits for the morning.",
            ),
        ),
        Topic(
            "batteries",
            "Batteries",
            (
                "Lithium cells: only the charger that belongs to them, never in frost or in a hot "
                "closed house, on something that does not burn, while someone is near.",
                "Swollen, dented, leaking, hot or wet: outside, away from everything, and to the "
                "collecting point. Never pierce, solder or short one.",
                "A box in the sun gets far hotter than the air: shade it.",
            ),
        ),
        Topic(
            "air",
            "Air you breathe",
            (
                "Burners, generators and carbon dioxide for plants in a closed house can kill "
                "without a smell. Air the house before you go in, and have alarms for carbon "
                "monoxide and carbon dioxide where you use them.",
                "Someone has fallen in such a house: open it and call for help, don't run in after "
                "them. Gas appliances are for licensed trades.",
            ),
        ),
        Topic(
            "estimates",
            "What this tool can't do for you",
            (
                "Its figures are estimates and aids, no guarantee. Sensors fail, networks fail, a "
                "message can come late or not at all. Look at the plants.",
                "It is no alarm for fire, gas or burglars, and nothing that protects people. Those "
                "need devices made and approved for it.",
            ),
        ),
    ),
)

SPANISH = CautionWords(
    take_care="Cuidado:",
    night="Es de noche: diga a alguien que va y cuándo volverá. Lleve linterna y teléfono.",
    heat="Una casa cerrada al sol es muy caliente. Diga a alguien que está dentro, beba "
    "agua y salga enseguida si se marea o se siente mal.",
    water="No moje enchufes, ventiladores ni lámparas. Apáguelos antes de rociar o de mojar el "
    "piso.",
    mains="Aleje el agua y las manos mojadas de la corriente. Lo que está conectado a la "
    "red eléctrica solo lo abre un electricista.",
    spraying="Que nadie entre hasta que pase el plazo de reingreso de la etiqueta y "
    "la casa esté ventilada; ponga un letrero y no trabaje a solas. La etiqueta y las normas "
    "locales mandan.",
    washing="Apague y tape enchufes, ventiladores y lámparas antes de abrir el agua. "
    "Que nadie entre hasta que escurra. Las normas locales y su electricista mandan.",
    local="Las reglas de su lugar y lo que diga su electricista valen más que este mensaje.",
    more="Todas las precauciones: {link}",
    title="Primero cuídese usted, después las plantas",
    lead="Ningún injerto vale una persona. Las leyes de su país, las reglas de su empresa y los "
    "oficios autorizados valen más que todo lo que dice aquí, y más que cualquier mensaje.",
    emergency="Alguien se hiere, se desmaya o habla confuso: llame primero a su número de "
    "emergencias. Cerca de la corriente, córtela antes de tocarle.",
    rest=(
        Topic(
            "night",
            "Salir a solas de noche",
            (
                "Un mensaje es un ruego, no una orden. Si no se siente seguro (tormenta, crecida, "
                "extraños, usted no puede más), dé la vuelta y dígalo: un lote perdido se injerta "
                "de nuevo.",
                "¿No hay a quién avisar? Entonces no vaya a solas. Acuerden de día a quién se "
                "llama y cuándo salen a buscarle si no contesta.",
                "Calzado cerrado que no resbale; luz en el camino antes de pisarlo.",
            ),
        ),
        Topic(
            "heat",
            "Calor en la casa cerrada y bajo plástico",
            (
                "El trabajo caliente, al amanecer. Primero dé sombra, después entre; ratos cortos "
                "y descansos a la sombra.",
                "Dolor de cabeza, calambres, náuseas: fuera, sombra, agua, descanso. Confuso, "
                "desmayado, o caliente y ya sin sudar: llame a emergencias y enfríe a la persona "
                "con agua.",
                "El sistema juzga el aire para las plantas, no para la gente. Que un lote esté "
                "bien no dice si usted puede trabajar allí.",
            ),
        ),
        Topic(
            "mains",
            "Corriente cerca del agua",
            (
                "Cada enchufe de una casa húmeda, detrás de un interruptor diferencial de 30 mA o "
                "menos. Pulse su botón de prueba tan a menudo como diga el fabricante; si no "
                "salta, no use nada de lo que cuelga de él.",
                "Enchufes, cajas, lámparas y ventiladores hechos para lugares mojados: con la "
                "marca IPX4 o mejor donde gotea o se nebuliza, IPX5 o mejor donde se usa manguera.",
                "Sondas y placas dentro de la casa: muy baja tensión (5 a 24 V), de una fuente que "
                "está fuera, en seco, y lleva las marcas de seguridad de su país.",
                "Instalación fija, tableros, bombas y calefactores: un electricista autorizado. Un "
                "cable gastado, caliente o mojado: corte en el interruptor, no tire del enchufe.",
            ),
        ),
        Topic(
            "sprays",
            "Productos, fungicidas y hormonas",
            (
                "Lea primero la etiqueta: en muchos países es la ley. Guantes, gafas, mascarilla y "
                "ropa como dice, también al mezclar.",
                "Los plazos de reingreso y de espera están en la etiqueta. Una bolsa o carpa "
                "guarda el producto: ventílela antes de meter la cara o las manos.",
                "En su propio envase, bajo llave, lejos de comida y de niños. Si se traga, entra "
                "en los ojos o se siente mal: llame a toxicología con la etiqueta en la mano.",
            ),
        ),
        Topic(
            "knives",
            "Navajas, cuchillas y cera caliente",
            (
                "Corte alejando el filo de la mano, del cuerpo y de los demás; el pulgar detrás "
                "del filo; guante anticorte o dedal en la mano que sujeta la madera.",
                "Una navaja afilada resbala menos. Ciérrela o déjela antes de girar, andar o "
                "hablar; las cuchillas viejas, a una caja dura.",
                "Limpie la hoja entre plantas, con la llama apagada antes de acercar el alcohol.",
                "La cera, no más caliente de lo que hace falta, y el cazo donde nadie lo tire. "
                "Quemadura: agua fresca corriente durante 20 minutos. Corte hondo: apriete, "
                "levante, pida ayuda.",
            ),
        ),
        Topic(
            "ladders",
            "Escaleras y techos",
            (
                "Para colgar malla o una sonda: suelo firme y llano, alguien al pie, tres puntos "
                "de apoyo, la hebilla del cinturón entre los largueros.",
                "Nunca sobre un techo de plástico o vidrio, cerca de cables aéreos, con viento ni "
                "a solas de noche. Lo que no se alcanza sin riesgo espera a la mañana.",
            ),
        ),
        Topic(
            "batteries",
            "Baterías",
            (
                "Celdas de litio: solo con su propio cargador, nunca con helada ni en una casa "
                "cerrada y caliente, sobre algo que no arda y con alguien cerca.",
                "Hinchada, abollada, con fugas, caliente o mojada: fuera, lejos de todo, y al "
                "punto de recogida. Nunca la perfore, la suelde ni la ponga en corto.",
                "Una caja al sol se calienta mucho más que el aire: póngala a la sombra.",
            ),
        ),
        Topic(
            "air",
            "El aire que respira",
            (
                "Quemadores, generadores y dióxido de carbono para plantas en una casa cerrada "
                "pueden matar sin olor. Ventile antes de entrar y ponga alarmas de monóxido y de "
                "dióxido de carbono donde los use.",
                "Si alguien ha caído en una casa así: ábrala y pida ayuda, no entre corriendo. Los "
                "aparatos de gas los toca solo un técnico autorizado.",
            ),
        ),
        Topic(
            "estimates",
            "Lo que este sistema no puede hacer por usted",
            (
                "Sus cifras son estimaciones y ayudas, no una garantía. Fallan sondas y redes; un "
                "mensaje puede llegar tarde o no llegar. Mire las plantas.",
                "No es alarma de fuego, gas ni robo, ni protege a las personas. Para eso hacen "
                "falta aparatos hechos y aprobados para ello.",
            ),
        ),
    ),
)


def caution_words(language: str) -> CautionWords:
    """Return the Spanish cautions for "es", else the English ones."""
    return SPANISH if language == "es" else ENGLISH
