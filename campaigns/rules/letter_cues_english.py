"""How English letters say what the letter check looks for."""

from campaigns.rules.letter_cues import Cue, cues


_FAULT = "(defect*|fault*|problem*|flaw*|nonconform*|non conform*|issue*|concern*|condition*)"
_HARM = "(accident*|crash*|injur*|incident*|collision*|fatalit*|death*|fire*|complaint*|mishap*|harm)"
_DANGER = "(danger*|hazard*|risk*|threat*|peril*)"
_OWNED = "(vehicle|car|truck|van|motorcycle|it)"
_JOB = "(repair*|remedy|work|service|fix|correction|replacement|part*|inspection)"

CUES: dict[str, tuple[Cue, ...]] = {
    "may_exist": cues(
        f"{_FAULT} ~3 (may|might|could) ~ (exist|be present|be there|be found)",
        f"(may|might|could) ~ (have|contain|exhibit|carry|suffer from|show) ~3 {_FAULT}",
        f"(possible|potential|suspected|alleged|apparent|supposed|so called|perceived"
        f"|claimed|presumed) ~1 {_FAULT}",
        f"{_FAULT} (is|are|was) ~1 (possible|potential|suspected|alleged|supposed)",
        "(may|might|could) ~1 be ~1 (defective|faulty|affected|involved|concerned"
        "|flawed|subject to)",
        f"there (may|might|could) be ~3 {_FAULT}",
        "(chance|possibility|likelihood|probability|odds) ~2 (that|of) ~8 (bad*|badly"
        f"|wrong*|loose|fail*|weak|faulty|{_FAULT[1:-1]})",
        "(most likely|very likely|probably|chances are|in all likelihood) ~4 (fine|ok"
        "|in order|sound|good|not)",
        f"(whether|if) ~3 {_FAULT} ~1 (exists|is present|is there)",
        f"(perhaps|possibly|maybe|potentially) ~3 (defective|faulty|{_FAULT[1:-1]})",
        f"(suspect*|believe*|think*|suppose*) ~4 (may|might|could) ~ {_FAULT}",
    ),
    "may_exist_but": cues(
        "NOT ~2 (all|every|each|any one) ~5 (vehicle*|car*|truck*|unit*|one*)",
        "(some|certain|many) ~5 (may|might|will|do) not",
    ),
    "no_accidents": cues(
        f"(no|zero|NOT any|without any|NOT a single|NOT one) (known|reported"
        f"|confirmed|such|related|serious|actual|field|documented)? {_HARM}",
        f"NOT ~1 (aware|know*|learned|heard|hear|received|receive|had|have|seen"
        f"|recorded|been told) ~6 {_HARM}",
        f"{_HARM} ~3 NOT ~2 (been|reported|known|occurred|happened|taken|come)",
        f"{_HARM} ~3 (has|have|had|is|are|was|were) NOT",
        "(nobody|no one|no person|no owner|no driver|NOT anyone|NOT anybody) ~3 (hurt"
        "|injured|harmed|killed|complained|reported)",
        f"free of {_HARM}",
        f"(no|without) ~2 (record*|report*|case*|instance*|sign*|history) of ~4 {_HARM}",
        "(nobody|no one|NOT anyone|NOT anybody) ~4 (hospital|doctor|harm)",
        f"(yet|still) to ~1 (hear|receive|learn|see|record|be told) ~6 {_HARM}",
        "NOT ~4 (has|have|had|was|were|been) ~3 (hurt|harmed|injured|killed|come to"
        " harm|been affected)",
        f"(so far|to date|until now|up to now|as of today) ~4 NOT ~6 {_HARM}",
        f"(never|NOT once) ~3 (led|caused|resulted|ended) ~3 {_HARM}",
    ),
    "no_risk": cues(
        f"(is|are|be|poses?|pose|present*|has|have|of|represent*) (no|NOT a|NOT any"
        f"|little|minimal|negligible|hardly any) ~2 {_DANGER}",
        f"NOT ~1 (pose|present|create|mean|represent|involve|cause|constitute) ~3"
        f" {_DANGER}",
        f"(no|without|zero) ~1 (safety|immediate|real|actual|serious) ~1 {_DANGER}",
        "NOT ~2 (safety|dangerous|unsafe|hazardous|serious) (issue|matter|problem"
        "|concern|question|defect|hazard|risk)",
        "NOT ~2 (dangerous|unsafe|hazardous|unsound)",
        "NOT ~2 (cause|reason|need|grounds|call) ~2 (alarm|concern|worry|panic)",
        "NOT ~1 (worry|worried|alarmed|panic|concerned)",
        "NOT ~2 (affect|compromise|impair|reduce|concern) ~2 safety",
        "NOT ~3 (defect|defective) (in|that|which|at)",
        "NOT ~1 (relate|related) to ~2 safety",
        "NOT ~1 (endanger*|threaten*|jeopardi*|harm*) ~2 (you|anybody|anyone|your"
        "|people|passengers|others|safety)",
        f"{_DANGER} ~2 (is|are) ~1 (nil|none|negligible|minimal|tiny|very low)",
    )
    + cues(
        f"{_OWNED} (is|remains|stays) (perfectly|completely|entirely|still|quite"
        f"|fully|absolutely)? safe",
        "(perfectly|completely|entirely|quite|absolutely|totally|fully) safe",
        "safe to (drive|use|operate|be driven|be used)",
        "(drive|use|driving|using) ~3 (safely|without worry|with confidence"
        "|as usual|as normal|as always)",
        "safety is assured",
        denied=False,
    ),
    "played_down": cues(
        "(abundance|excess) of caution",
        "(precaution|precautionary|purely preventive|preventive measure)",
        "(unlikely|improbable|remote|very rare*|extremely rare*|rare case*"
        "|rarely|isolated|low probability|slight chance|small chance|hardly ever)",
        "(voluntary|voluntarily)",
        "(goodwill|as a courtesy|courtesy measure|as a gesture)",
        "(merely|only|just|simply) (a|as a|an)? (formality|technicality|minor|routine)",
        "NOT ~1 (required|obliged|obligated|compelled) ~1 by ~1 law",
        "minor (defect|fault|problem|issue|matter|concern)",
    ),
    "expiry": cues(
        "(expire*|expiration|expiry)",
        "(offer|remedy|repair|campaign|recall|program*|work) ~3 (ends|end|closes"
        "|lapses|stops) ~3 DATE",
        "(free|valid|available|good|open|honored|honoured|performed|offered|done) ~5"
        " (until|till|through|up to|no later than|before) ~3 DATE",
        "(limited time|limited period|last chance|while supplies last|act now|hurry"
        "|before it is too late|time is running out)",
        "(deadline|closing date|cut off date|last day)",
        "(only|within|for) ~1 NUM (day*|month*|week*|year*|miles) ~2 (of|from|after)"
        " ~2 (this letter|this notice|the date|receipt|receiving|today)",
        "(until|up to|under|before|within|below|above|over|beyond|past) ~1 NUM ~1"
        " (mile*|kilomet*|years old)",
        "(fewer|less|more|older|younger) than NUM ~1 (mile*|kilomet*|years)",
        "(asked|have|need) to (contribute|share the cost|pay a share)",
        "(must|have to|need to) ~6 (by|before|no later than) ~2 DATE",
        "(after|from|as of|starting|past|beyond) ~2 (DATE|that day|that date|this date)"
        " ~9 (charge*|pay|cost*|expense|bill*|invoice*|no longer|lose|forfeit)",
        "(repair|remedy|recall|offer|work|program*) (ends|end|closes|runs out) ~1 soon",
        "(pay*|free|covered|covers) ~4 until then",
        "(by|before|until) ~1 (new year*|year end|the end of|end of|christmas|summer"
        "|winter)",
        "(only|just) if you (come|book|call|visit|act) ~4 (by|before|within|until)",
        "(no longer|NOT) ~1 (be|remain) ~1 (free|covered|available) ~3 (after|from)",
        denied=False,
    )
    + cues(
        "(no longer|NOT) ~2 (free|covered|paid) ~3 after",
    ),
    "safety_words": cues(
        "safety (recall*|defect*|campaign*|notice*|issue*|hazard*|matter*|act)",
        "(recall*|defect*|notice*|campaign*) ~3 (for|about|of|concerning|on) ~1 safety",
        "(relate*|relating|relevant|important) (to|for) ~3 safety",
        "safety (related|relevant|critical)",
        "motor vehicle safety",
        "(important|urgent) safety",
        "(nhtsa|traffic safety administration)",
        "(unsafe|danger to life|risk of (a)? (crash*|injur*|accident*|death))",
        denied=False,
    ),
    "recall_word": cues(
        "(this|a|the|your|our|free|open|vehicle|product|factory|important) recall*",
        "recall (notice|letter|campaign|number|repair*|work|is|of|on|for)",
        "recalled",
        "recalling",
        denied=False,
    ),
    "looks_official": cues(
        "important safety recall",
        "this notice applies to your (vehicle|car)",
        "(issued|sent|mailed) ~3 (in accordance with|under|pursuant to|required by) ~4"
        " (federal law|safety act|law)",
        "official (recall|safety|government|federal|vehicle|notice|notification) ~1"
        " (notice|notification|letter|document)?",
        "(final|last|second|third|urgent) (notice|warning)",
        "(compliance|notification|enforcement) (department|center|centre|office"
        "|division|bureau)",
        "federal ~3 (department|office|agency|bureau|center|unit)",
        "(required|obliged|compelled|ordered) by ~1 law to (respond|act|call|come"
        "|reply)",
        "non compliance",
        "(on behalf of|authorized by|authorised by|approved by) ~1 (nhtsa|national"
        " highway|government|department|federal|united states)",
        denied=False,
    ),
    "looks_official_but": cues(
        "(notice|letter|notification) ~2 (of|from|by) ~2 (manufacturer|maker|{maker})",
        "(manufacturer|maker|{maker}) ~5 (own|official|separate*) ~2 (notice|letter)",
        "NOT ~3 (notice|official|government)",
    ),
    "label": cues(
        "safety recall notice",
        "(label|logo*|seal|emblem) ~3 (nhtsa|department of transportation|highway"
        " traffic)",
        "(nhtsa|department of transportation) ~3 (label|logo*|seal|emblem)",
        denied=False,
    ),
    "claims_decision": cues(
        f"(we|our (store|company|dealership|experts|engineers|mechanics|technicians"
        f"|staff|people|workshop|team)) (have|has)? ~1 (decided"
        f"|determined|found|established|concluded|discovered) ~6 {_FAULT}",
        "(we|our store|our dealership) (are|is|have|has)? (recalling|recalled"
        "|issued ~1 recall)",
        "our (safety recall|recall)",
        "(we|our dealership|our store) ~3 (decided|resolved) to recall",
        denied=False,
    ),
    "paid_work": cues(
        "(discount*|coupon*|voucher*|rebate*|promotion*|clearance)",
        "(% off|percent off|half price|percent (less|cheaper|below)|% (less|cheaper"
        "|below)|cheaper than|less than usual|reduced price*|special price*|special offer*|special rate*"
        "|great deal*|best price*|special deal*|bargain*)",
        "(oil change*|tire rotation|tyre rotation|wheel alignment|detailing|car wash"
        "|tune up|winter check|summer check|wiper blades|multi point inspection"
        "|air conditioning service|brake special|service package*|paint protection)",
        "(trade in|trade it in|financing|test drive|new model|newest model*"
        "|latest model*|lease offer*|purchase a new|buy a new|upgrade to|showroom)",
        "(extended warranty|service contract|maintenance plan|protection plan)",
        "(save|savings) ~2 (MONEY|NUM|money|on)",
        "(only|just|from|for|at) MONEY",
        "(gift card|free gift|prize|sweepstakes|raffle)",
        "(ask|talk|see|enquire|inquire) ~3 about ~3 (offers|specials|prices|deals"
        "|packages|accessories|upgrades)",
        "(sales|showroom) (team|staff|people|department|advisor*|consultant*)",
        "(value|appraise|buy|appraisal of) ~1 (your|the) ~2 (car|vehicle|trade)",
        "brand new (car|vehicle|model|corvane|suv|truck)",
        "(winter|summer|new|swap your|set of) (tire*|tyre*)",
        "(treat|pamper|spoil) ~2 (car|vehicle|it)",
        "(other|additional|further) (paid|chargeable) (work|service*|repairs)",
        denied=False,
    ),
    "parts_here": cues(
        "(part*|kit*|component*) ~2 (are|is|have|has) ~2 (here|in stock|available"
        "|arrived|come in|on (our|the) shelf|ready|in our store|on hand|in hand)",
        "(have|has|hold|stock|keep) ~2 (part*|kit*) ~3 (here|in stock|available|ready"
        "|on (our|the) shelf|on hand)",
        "(part*|remedy|repair) ~1 (can be had|is available|are available)",
        "(they|it) (is|are|have|has) ~1 (here|in stock|arrived|come in)",
        "(the|all|new|your|everything|what) ~5 (is|are|have|has) ~2 (here|in stock"
        "|arrived|come|on (the|our) shel*|in our (workshop|store)|ready for you)",
        "we (have|hold|keep|stock) ~5 (here|in stock|on (the|our) shel*|you need"
        "|we need|ready)",
        "we (have|hold|keep) (all|everything|plenty|enough)",
        "we ~1 (received|got|took delivery) ~5",
        "(is|are) (now|already)? (in stock|in our store|in our workshop)",
        denied=False,
    ),
    "parts_to_come": cues(
        "(part*|kit*|component*|remedy|repair|solution|fix) ~3 NOT ~1 (yet|here"
        "|available|arrived|ready|in stock|come)",
        "NOT ~3 (have|yet|received) ~2 (part*|kit*|remedy)",
        "NOT ~1 (arrived|come in|in stock|reached us)",
        "we NOT ~1 have ~5 yet",
        "we ~1 NOT have ~5 yet",
        "(waiting for|expect*|awaiting|still to come|on (their|its|the) way|on order"
        "|not yet|no remedy yet|as soon as ~3 (available|arrive*|come*|here))",
        "(when|once) ~3 (part*|remedy|they|it) ~2 (available|arrive*|come*|here"
        "|ready|is|are)",
    ),
    "free": cues(
        "(no|without|free of|without any|at no|zero) ~1 (charge|cost|expense)",
        "NOT ~2 (charged|charge you|cost you|billed|bill)",
        "pay* nothing",
        "nothing ~2 (to pay|due|owed)",
        "without ~1 bill",
        "NOT ~1 pay ~1 (anything|a cent)",
        "costs? (you)? nothing",
    )
    + cues("(free|cost free|free repair)", denied=False),
    "maker_pays": cues(
        "(manufacturer|maker|factory|{maker}|it) ~4 (pay*|bear*|cover*|cost|settle*"
        "|meet*|foot*|reimburse*)",
        "(paid|covered|borne|cost) (for)? ~2 (by|of) ~2 (manufacturer|maker|factory"
        "|{maker})",
        "{maker} ~6 (at no|free of|without) ~1 (charge|cost)",
    ),
    "how_to_book": cues(
        "(call|phone|ring|contact|telephone|write to|reach|email|visit|text) ~5 (us"
        "|{store_name}|store|dealer*|{store_phone}|workshop|your)",
        "(call|phone|ring|contact) ~8 (appointment|book|arrange|schedule|date|day)",
        "(dial|telephone|phone|text|ring) ~3 (NUM|us|{store_phone}|{store_name})",
        "(reserve|fix|choose|find) ~4 (appointment|day|date|slot|time|morning|hour)",
        "(leave|give) ~2 (your|a) ~2 (number|name)",
        "we (will|can|ll) ~2 (call|ring|phone|book)",
        "(book|arrange|schedule|make|set up|ask for|pick) ~3 (appointment|day|date|visit|time)",
    ),
    "look_up": cues(
        "(look up|check|enter|search|lookup|type) ~5 (vin|vehicle identification)",
        "(vin|recall) ~1 (look up|lookup|search|check|checker|finder)",
        "nhtsa gov",
        "(vehicle identification number|vin) ~8 (website|online|page|look up|tool)",
    ),
    "own_letter": cues(
        "this (letter|reminder|message) (is|comes) ~2 from",
        "NOT ~3 (notice|letter|notification) ~2 (of|from|by) ~2 (manufacturer|maker"
        "|{maker})",
        "(notice|letter) ~4 (comes|come|came|sent|follows|reaches) ~5 (manufacturer"
        "|maker|{maker})",
        "we (are|as) ~4 (store|dealer*|workshop|garage)",
        "(your|our) (store|dealer*|dealership) ~4 (writes|reminds|sends)",
        "we (write|are writing|send) ~3 as ~3 (dealer*|store|workshop|garage)",
        "(our own letter|letter is ours|letter of ours|letter is our own)",
        "(written|sent|brought) ~2 by ~2 (store|dealer*|workshop|{store_name})",
        "{store_name} ~6 (sends|sent|wrote|writes|tells|reminds)",
        "from {store_name}",
        "from (us|your (dealer*|store|dealership|workshop))",
    ),
    "heading": cues("important safety recall"),
    "applies": cues(
        "this (notice|letter) (applies|refers|relates|pertains) to your (vehicle|car)"
    ),
    "opening": cues(
        "(in accordance with|under|as required by|pursuant to|required under) ~4"
        " (safety act|motor vehicle safety act)",
    ),
    "decision": cues(
        "(decided|determined|concluded) ~4 defect* ~2 (relate*|relating) to ~1"
        " motor vehicle safety ~1 exist*",
        "(fail*|NOT ~1 conform|NOT ~1 comply) ~3 (federal motor vehicle safety"
        " standard*|fmvss)",
    ),
    "defect": cues(
        "(defect*|nonconform*|noncompliance|fail* to (conform|comply)|not conform)",
    ),
    "risk": cues(
        "(crash*|injur*|accident*|fire*|collision*|loss of (control|steering|braking"
        "|power)|death|burn*|hazard*|danger*|harm*|hurt*|stall*|fall*)",
        "risk* ~2 (of|for|to)",
    ),
    "remedy": cues(
        "(repair*|replac*|correct*|fix*|inspect*|adjust*|install*|refund*|remed*"
        "|put right|update*|exchange*)",
    ),
    "available_from": cues(
        "(part*|remedy|repair*|work|appointment*|store*|dealer*|available|had"
        "|ready|begin*|start*|see you|fit|done|come|visit|bring|book*|replace*"
        "|correct*|exchange*|expect you) ~6 (DATE|now|today|immediately|at once)",
        "(DATE|now|today|at once|immediately) ~5 (part*|remedy|repair*|available"
        "|ready|done)",
    ),
    "complaint": cues(
        "(administrator|secretary|national highway traffic safety administration"
        "|nhtsa|department of transportation)",
    ),
    "complaint_post": cues("(washington|20590|new jersey avenue)"),
    "complaint_phone": cues("(hotline|toll free|toll free number|888 327 4236)"),
    "complaint_tty": cues("(tty|teletypewriter|relay service)"),
    "complaint_web": cues("(nhtsa gov|safercar gov|website|web site|online|internet)"),
    "reasonable_time": cues(
        "(60|sixty) days", "(reasonable|unreasonable) (time|period|delay)"
    ),
    "time_needed": cues(
        "(half an|an|one|two|few|twenty|forty|fifty|NUM) (hour*|minute*)",
        "(take*|need*|require*|last*|about|allow) ~3 (NUM|an|a|half|one|two|few) ~1 (hour*"
        "|minute*|day*)",
        "how long",
        "(hour*|minute*) ~3 (work|labor|labour|repair|needed)",
    ),
    "paid_before": cues(
        "(reimburse*|repaid|repay*|refund*|paid back|money back)",
        "(already|previously|before) ~3 (paid|had)",
    ),
    "lessor": cues(
        "(lessor*|lessee*|leas*|rented) ~14 (forward|pass|send|copy|give)",
        "(forward|pass|send) ~8 (lessee*|lessor*)",
    ),
    "no_remedy_yet": cues(
        "(remedy|repair|part*|solution|fix) ~4 NOT ~2 (yet|available|ready|here)",
        "NOT ~2 (remedy|repair|part*|solution) ~2 (yet|available)",
        "(not yet|being (developed|prepared|made))",
    ),
    "second_letter": cues(
        "(write|send|notify|inform|tell|mail|contact|hear) ~6 (again|second|another"
        "|further|as soon as|once|when)",
        "(second|another|further) (letter|notice|mailing)",
    ),
    "emissions_exceed": cues(
        "(emission*|pollut*|exhaust|pollution) ~8 (limit*|standard*|law|allow*|rules"
        "|more|exceed*|above)",
        "(exceed*|above|more than|over) ~6 (emission*|pollut*|standard*)",
    ),
    "if_sold": cues(
        "(sold|no longer (own|have)|transferred|new owner|given away)",
    ),
    "inspection": cues(
        "(inspection|registration|register*|smog|emissions test*|proof of correction"
        "|certificate)",
    ),
}
