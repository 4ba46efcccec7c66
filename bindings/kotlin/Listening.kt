// Listening to a log with functions instead of a class.
package firnbook

import firnbook.log.DayId
import firnbook.log.EntryId
import firnbook.log.ExchangeReport
import firnbook.log.Merged
import firnbook.log.TurnStanding

/** A listener made of functions, each for what it is about; what none is given for is not heard. */
class Listening(
    private val onWritten: (DayId, List<EntryId>) -> Unit = { _, _ -> },
    private val onMerged: (Merged) -> Unit = {},
    private val onExchanged: (ExchangeReport) -> Unit = {},
    private val onTurnOver: (TurnStanding) -> Unit = {},
) : LogListener {
    override fun written(day: DayId, ids: List<EntryId>) = onWritten(day, ids)

    override fun merged(report: Merged) = onMerged(report)

    override fun exchanged(report: ExchangeReport) = onExchanged(report)

    override fun turnOver(turn: TurnStanding) = onTurnOver(turn)
}
