import { append, emptyList } from './draft.ts';
import type { ConfigSymbol, Expr } from './model.ts';
import { operators, startOf, type Rules } from './rules.ts';

/** The conditions of a model as records, each made when it is first asked for. */
export class ConditionRecords {
  private readonly rules: Pick<Rules, 'exprs' | 'operands'>;
  private readonly symbols: readonly ConfigSymbol[];
  private readonly made = new Map<number, Expr>();

  constructor(rules: Pick<Rules, 'exprs' | 'operands'>, symbols: readonly ConfigSymbol[]) {
    this.rules = rules;
    this.symbols = symbols;
  }

  at(row: number): Expr {
    const known = this.made.get(row);
    if (known) return known;
    const made = this.make(row);
    this.made.set(row, made);
    return made;
  }

  private make(row: number): Expr {
    const { exprs, operands } = this.rules;
    const kind = operators[exprs.operator[row] ?? -1];
    const start = startOf(exprs.operands, row);
    switch (kind) {
      case undefined:
        throw new RangeError(`there is no condition ${row}`);
      case 'symbol':
        return { kind, symbol: this.symbol(start) };
      case 'modular':
        return { kind };
      case 'not':
        return { kind, operand: this.at(operands.row[start] ?? -1) };
      case 'and':
      case 'or': {
        let list = emptyList<Expr>();
        const end = exprs.operands[row] ?? 0;
        for (let at = start; at < end; at += 1) list = append(list, this.at(operands.row[at] ?? -1));
        return { kind, operands: list };
      }
      default:
        return {
          kind: 'compare',
          operator: kind,
          left: this.symbol(start),
          right: this.symbol(start + 1),
        };
    }
  }

  private symbol(operand: number): ConfigSymbol {
    const symbol = this.symbols[this.rules.operands.row[operand] ?? -1];
    if (!symbol) throw new RangeError(`operand ${operand} is no symbol`);
    return symbol;
  }
}
